// One card for each rocket, in the zone that its phase belongs to. A card is
// built once per zone and afterwards only its texts change.
import { clone, setText, setClass } from "./dom.js";
import { setShape } from "./shapes.js";
import { known, glance, quantity, unitOf, fixed, age, told, verdictOf, say } from "./units.js";
import { drawLadder, drawTrace } from "./strips.js";
import { TRACE_MS } from "./picture.js";
import { whereWords, landingWords, geo } from "./place.js";
import { releaseOf } from "./results.js";

/** OLD is after how many seconds without a frame a card's numbers are old. */
export const OLD = 2;

/** zoneOf says where a rocket's card belongs. */
export function zoneOf(state) {
  if (!state || state.phase === "waiting") return "pad";
  return state.phase === "landed" ? "down" : "air";
}

const LEAST_MS = 15_000; // the shortest stretch that a trace shows
const PAD_LEAST = 5; // m
const OFF_GROUND = 3; // m: what is higher belongs to the flight, not to the noise

const words = { boost: "Boost", coast: "Coast", descent: "Descent", landed: "Landed", waiting: "Waiting" };

export class Card {
  constructor(rocket, zone) {
    this.rocket = rocket;
    this.zone = zone;
    this.brief = false; // there is room for few words
    this.el = clone("t-" + zone);
    this.el.dataset.rocket = rocket;
    this.el.setAttribute("aria-label", rocket);
    this.part = (name) => this.el.querySelector("." + name);
    this.parts = {};
    for (const name of ["shape", "word", "big", "unit", "speed", "top", "highest", "release", "reasons", "height-small",
      "cell", "radio", "where", "last-flight", "ladder", "trace", "source", "map"]) {
      this.parts[name] = this.part(name);
    }
    setText(this.part("name"), rocket);
  }

  /** show writes the state. ageS is how old its last frame is; cut says that
   *  the page itself hears nothing, so that nothing here can be trusted. */
  show(state, ageS, site, cut, result) {
    const old = !state || cut || ageS > OLD;
    setClass(this.el, "old", old && !!state);
    this[this.zone](state, old, site, cut, result);
    this.radio(state, ageS, old);
  }

  air(s, old, site) {
    const p = this.parts;
    const shape = s.phase === "descent" ? (s.released ? "canopy" : "fall") : s.phase;
    setShape(p.shape, shape);
    const late = missed(s);
    setText(p.word, say(late ? (this.brief ? "No release" : "Descent, no release") : words[s.phase] ?? s.phase));
    this.mark("phase", s.phase);
    setText(p.big, glance("height", s.altitude_m));
    setText(p.unit, unitOf("height") + (old ? `, ${say(this.brief ? "old" : "last known")}` : ""));
    const speed = known(s.speed_mps) ? `${s.speed_mps < -0.5 ? "↓" : s.speed_mps > 0.5 ? "↑" : "→"} ${glance("speed", Math.abs(s.speed_mps))} ${unitOf("speed")}` : say("speed not known");
    setText(p.speed, speed);
    setText(p.top, topWords(s, old, this.brief));
    setText(p.highest, quantity("height", s.highest_m));
    setText(p.release, say(s.released ? "seen" : s.phase === "descent" && !late ? "not yet" : "not seen"));
    setClass(p.release, "missing", late);
    const where = this.brief ? "" : [whereWords(s, site), landingWords(s.landing)].filter(Boolean).join(", ");
    p.where.hidden = where === "";
    setText(p.where, where);
  }

  pad(s, old, site, cut) {
    const p = this.parts;
    const state = !s ? "unheard" : old ? "stale" : s.go ? "go" : "notyet";
    this.mark("go", state);
    setShape(p.shape, state);
    setText(p.word, say({ unheard: "Not heard", stale: cut ? "Not known" : "Silent", go: "Go", notyet: "Not yet" }[state]));
    const why = !s ? [{ text: say("no frame has been heard of it") }] : old ? [{ text: say(cut ? "this page hears nothing from the station" : "its frames have stopped") }] : s.not_yet ?? [];
    this.list(p.reasons, state === "go" ? [] : why.map((w) => told(w.phrase, w.text)));
    setText(p["height-small"], s ? quantity("height", s.altitude_m) : "–");
    setText(p.cell, s && known(s.cell_v) ? quantity("volts", s.cell_v) : "–");
    setText(p.release, releaseWords(s));
  }

  /** down shows what was worked out of the flight, and until then what was
   *  called live; it says which. */
  down(s, old, site, cut, r) {
    const p = this.parts;
    setShape(p.shape, "landed");
    setText(p.word, say("Landed"));
    const sd = r && known(r.apogee_sd_m) ? ` ± ${glance("height", r.apogee_sd_m)}` : "";
    setText(p.big, glance("height", r?.apogee_m ?? s.highest_m));
    setText(p.unit, `${this.narrow ? "" : sd} ${unitOf("height")}`.trim());
    setText(p.where, whereWords({ ...s, position: s.landing ?? s.position }, site) || say("no position"));
    const lag = r ? releaseOf(r, fixed) : "";
    const seen = lag !== "" || s.released || !!r?.release_at;
    setText(p.release, lag || say(seen ? "seen" : "not seen"));
    setClass(p.release, "missing", !seen);
    setText(p.source, r ? say("worked out after the flight: {verdict}", { verdict: verdictOf(r) }) : say("called live; the results follow"));
    const to = geo(s.landing ?? s.position ?? s);
    p.map.hidden = to === "";
    if (p.map.getAttribute("href") !== to) p.map.setAttribute("href", to || "#");
    setText(p.cell, known(s.cell_v) ? quantity("volts", s.cell_v) : "–");
    if (p["last-flight"].dataset.n !== `${s.session} ${s.flight}`) {
      p["last-flight"].dataset.n = `${s.session} ${s.flight}`;
      p["last-flight"].href = "/flights/" + encodeURIComponent(`${s.session}~${s.rocket}~${s.flight}`);
    }
  }

  radio(s, ageS, old) {
    if (!s) return setText(this.parts.radio, "");
    const signal = known(s.rssi_dbm) ? ` ${fixed(s.rssi_dbm, 0)} dBm` : "";
    const cell = this.zone === "air" && known(s.cell_v) ? ` · ${say("cell {volts}", { volts: quantity("volts", s.cell_v) })}` : "";
    const text = old ? `${say("NO FRAMES for {n} s", { n: Math.floor(ageS) })} · ${s.link}` : `${say("heard {age}", { age: age(ageS) })}${cell} · ${s.link}${signal}`;
    setText(this.parts.radio, text);
  }

  /** mark sets a data attribute when it differs: even an equal one would make
   *  the browser look at its style rules again. */
  mark(name, value) {
    if (this.el.dataset[name] !== value) this.el.dataset[name] = value;
  }

  list(ul, items) {
    const key = items.join("\n");
    if (ul.dataset.key === key) return;
    ul.dataset.key = key;
    // Where there is room for one reason only, a word says that there are more.
    this.el.querySelector(".facts").dataset.more = items.length > 1 ? say("+{n} more", { n: items.length - 1 }) : "";
    ul.replaceChildren(...items.map((text) => {
      const li = document.createElement("li");
      li.textContent = text;
      return li;
    }));
  }

  /** draw paints the card's small drawings. */
  draw(state, trace, now, top) {
    const canvas = this.parts.trace.firstElementChild;
    if (this.zone === "down") {
      // The flight that is over stands still.
      const end = trace.t.at(-1) ?? now;
      const up = trace.h.findIndex((h, i) => h > OFF_GROUND && trace.t[i] > end - TRACE_MS);
      return drawTrace(canvas, trace, end, up < 0 ? LEAST_MS : Math.max(LEAST_MS, end - trace.t[up] + 3000));
    }
    // On the pad noise shall look like noise, not like a flight.
    if (this.zone === "pad") return drawTrace(canvas, trace, now, TRACE_MS, PAD_LEAST);
    this.since ??= state.atMs;
    // The flight so far and a little of the pad, not narrower than is readable.
    const span = Math.min(TRACE_MS, Math.max(LEAST_MS, now - this.since + 4000));
    drawLadder(this.parts.ladder.firstElementChild, state, top);
    drawTrace(canvas, trace, now, span);
  }
}

/** missed says that a release is overdue: then it is shown as what it is. Until
 *  then a fall is as it should be. */
export function missed(s) {
  if (s.phase !== "descent" || s.released) return false;
  return !(known(s.to_apogee_s) && -s.to_apogee_s <= (s.delay_s || 1));
}

// In the smallest card there is no room for "apogee".
function topWords(s, old, brief) {
  if (old || !known(s.to_apogee_s)) return s.phase === "descent" ? say(brief ? "past top" : "past apogee") : "";
  if (s.to_apogee_s > 0.05) return say(brief ? "top {s} s" : "apogee in {s} s", { s: fixed(s.to_apogee_s, 1) });
  if (brief) return say("past top");
  return say("{s} s past apogee", { s: fixed(Math.max(0, -s.to_apogee_s), 1) });
}

function releaseWords(s) {
  if (!s) return "–";
  if (s.released) return say("open");
  if (s.armed === true) return say("closed, armed");
  if (s.armed === false) return say("closed, not armed");
  return say("closed");
}
