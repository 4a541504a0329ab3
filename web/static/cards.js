// One card for each rocket, in the zone that its phase belongs to. A card is
// built once per zone and afterwards only its texts change.
import { clone, setText, setClass } from "./dom.js";
import { setShape } from "./shapes.js";
import { known, glance, quantity, unitOf, fixed, age, told } from "./units.js";
import { drawLadder, drawTrace } from "./strips.js";
import { TRACE_MS } from "./picture.js";

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
      "cell", "radio", "where", "last-flight", "ladder", "trace"]) {
      this.parts[name] = this.part(name);
    }
    setText(this.part("name"), rocket);
  }

  /** show writes the state. ageS is how old its last frame is; cut says that
   *  the page itself hears nothing, so that nothing here can be trusted. */
  show(state, ageS, site, cut) {
    const old = !state || cut || ageS > OLD;
    setClass(this.el, "old", old && !!state);
    this[this.zone](state, old, site, cut);
    this.radio(state, ageS, old);
  }

  air(s, old) {
    const p = this.parts;
    const shape = s.phase === "descent" ? (s.released ? "canopy" : "fall") : s.phase;
    setShape(p.shape, shape);
    const unopened = this.brief ? "No release" : "Descent, no release";
    setText(p.word, s.phase === "descent" && !s.released ? unopened : words[s.phase] ?? s.phase);
    this.mark("phase", s.phase);
    setText(p.big, glance("height", s.altitude_m));
    setText(p.unit, unitOf("height") + (old ? (this.brief ? ", old" : ", last known") : ""));
    const speed = known(s.speed_mps) ? `${s.speed_mps < -0.5 ? "↓" : s.speed_mps > 0.5 ? "↑" : "→"} ${glance("speed", Math.abs(s.speed_mps))} ${unitOf("speed")}` : "speed not known";
    setText(p.speed, speed);
    setText(p.top, topWords(s, old, this.brief));
    setText(p.highest, quantity("height", s.highest_m));
    setText(p.release, s.released ? "seen" : "not seen");
    setClass(p.release, "missing", s.phase === "descent" && !s.released);
  }

  pad(s, old, site, cut) {
    const p = this.parts;
    const state = !s ? "unheard" : old ? "stale" : s.go ? "go" : "notyet";
    this.mark("go", state);
    setShape(p.shape, state);
    setText(p.word, { unheard: "Not heard", stale: cut ? "Not known" : "Silent", go: "Go", notyet: "Not yet" }[state]);
    const why = !s ? ["no frame has been heard of it"] : old ? [cut ? "this page hears nothing from the station" : "its frames have stopped"] : s.not_yet ?? [];
    this.list(p.reasons, state === "go" ? [] : why.map((text) => told(text, { names: [this.rocket] })));
    setText(p["height-small"], s ? quantity("height", s.altitude_m) : "–");
    setText(p.cell, s && known(s.cell_v) ? quantity("volts", s.cell_v) : "–");
    setText(p.release, releaseWords(s));
  }

  down(s, old, site) {
    const p = this.parts;
    setShape(p.shape, "landed");
    setText(p.word, "Down");
    setText(p.big, glance("height", s.highest_m));
    setText(p.unit, unitOf("height"));
    setText(p.where, whereWords(s, site));
    setText(p.release, s.released ? "seen" : "not seen");
    setClass(p.release, "missing", !s.released);
    setText(p.cell, known(s.cell_v) ? quantity("volts", s.cell_v) : "–");
    if (p["last-flight"].dataset.n !== `${s.session} ${s.flight}`) {
      p["last-flight"].dataset.n = `${s.session} ${s.flight}`;
      p["last-flight"].href = "/flights/" + encodeURIComponent(`${s.session}~${s.rocket}~${s.flight}`);
    }
  }

  radio(s, ageS, old) {
    if (!s) return setText(this.parts.radio, "");
    const signal = known(s.rssi_dbm) ? ` ${fixed(s.rssi_dbm, 0)} dBm` : "";
    const cell = this.zone === "air" && known(s.cell_v) ? ` · cell ${quantity("volts", s.cell_v)}` : "";
    const text = old ? `NO FRAMES for ${Math.floor(ageS)} s · ${s.link}` : `heard ${age(ageS)}${cell} · ${s.link}${signal}`;
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
    this.el.querySelector(".facts").dataset.more = items.length > 1 ? `+${items.length - 1} more` : "";
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

function topWords(s, old, brief) {
  if (old || !known(s.to_apogee_s)) return s.phase === "descent" ? (brief ? "past top" : "past the top") : "";
  if (s.to_apogee_s > 0.05) return `top ${brief ? "" : "in "}${fixed(s.to_apogee_s, 1)} s`;
  if (brief) return "past top";
  return `${fixed(Math.max(0, -s.to_apogee_s), 1)} s past the top`;
}

function releaseWords(s) {
  if (!s) return "–";
  if (s.released) return "open";
  if (s.armed === true) return "closed, armed";
  if (s.armed === false) return "closed, not armed";
  return "closed";
}

const EARTH = 6371008.8; // mean radius in m (IUGG: (2a+b)/3 of GRS 80; from memory)

/** bearing gives distance in m and direction in degrees from the pad. */
export function bearing(lat0, lon0, lat, lon) {
  const rad = Math.PI / 180;
  const dLat = (lat - lat0) * rad;
  const dLon = (((lon - lon0 + 540) % 360) - 180) * rad;
  const a = Math.sin(dLat / 2) ** 2 + Math.cos(lat0 * rad) * Math.cos(lat * rad) * Math.sin(dLon / 2) ** 2;
  const y = Math.sin(dLon) * Math.cos(lat * rad);
  const x = Math.cos(lat0 * rad) * Math.sin(lat * rad) - Math.sin(lat0 * rad) * Math.cos(lat * rad) * Math.cos(dLon);
  return { m: 2 * EARTH * Math.asin(Math.min(1, Math.sqrt(a))), deg: (Math.atan2(y, x) / rad + 360) % 360 };
}

const compass = ["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"];

function whereWords(s, site) {
  if (!known(s.latitude_deg) || !known(s.longitude_deg)) return "no position";
  if (!known(site.latitude_deg) || !known(site.longitude_deg)) {
    return `${s.latitude_deg.toFixed(5)}, ${s.longitude_deg.toFixed(5)}`;
  }
  const b = bearing(site.latitude_deg, site.longitude_deg, s.latitude_deg, s.longitude_deg);
  return `${quantity("height", b.m).replace(/\.\d/, "")} ${compass[Math.round(b.deg / 45) % 8]} of the pad (${Math.round(b.deg)}°)`;
}
