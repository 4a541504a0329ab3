// A flight's page: plots with one cursor, what happened, notes, raw frames.
import { Plot, View } from "./plot.js";
import { answer, change, make, setText } from "./dom.js";
import { fixed, convert, unitOf, quantity, clock, day, known, toldOf, sayOf, say, told } from "./units.js";
import { onSettings, units } from "./settings.js";
import { showFrames } from "./frames.js";
import { sketch } from "./sketch.js";
import { landingWords, geo } from "./place.js";
import { drawTone } from "./tone.js";

const page = document.getElementById("flight");
const base = "/api/v1/flights/" + encodeURIComponent(page.dataset.id);
const host = document.getElementById("plots");

// Channels that every person wants; the others are offered by name.
const usual = { cell_v: [say("Cell"), "volts", 0.3], release_us: [say("Release pulse"), "pulse", 200] };
const hidden = new Set(["release_on", "armed"]);

const plots = {};
let view = null;
let detail = null;

async function begin() {
  detail = await answer(base);
  const s = sinceLiftoff;
  if (detail.events.some((e) => e.kind === "sounded")) sounder().catch(failed);
  view = new View(s(detail.from), s(detail.to));
  view.buttons(document.getElementById("zoom"));
  plots.height = new Plot(host, view, { title: say("Height above the pad"), short: say("height"), kind: "height", least: 5 });
  plots.speed = new Plot(host, view, { title: say("Vertical speed"), short: say("speed"), kind: "speed", least: 5 });
  plots.accel = new Plot(host, view, { title: say("Acceleration"), kind: "accel", least: 10 });
  plots.height.figure.classList.add("tall");
  const marks = instants(s);
  courses();
  plots.height.marks = marks;
  plots.speed.marks = plots.accel.marks = marks.map((m) => ({ t: m.t, label: "" }));
  await channels(marks);
  view.onRange = later(() => refine().catch(failed), 150);
  view.onCursor = (t) => cursor(t);
  view.onPick = (t) => frames(t).catch(failed);
  happened();
  where();
  again().catch(() => {}); // without it the replay begins at the start
  window.flightReady = true;
}

const sinceLiftoff = (time) => (Date.parse(time) - Date.parse(detail.result.launched_at)) / 1000;

/** instants are what a plot marks: as found after the flight, or else as called
 *  during it. */
function instants(s) {
  const r = detail.result;
  const lag = known(r.time_to_apogee_s) && known(r.release_lag_s) ? r.time_to_apogee_s + r.release_lag_s : null;
  const found = { liftoff: 0, burnout: r.burnout_s, apogee: r.time_to_apogee_s, release: lag, touchdown: r.duration_s };
  const marks = [];
  for (const [kind, t] of Object.entries(found)) {
    const event = detail.events.find((e) => e.kind === kind);
    const at = known(t) ? t : event && s(event.at);
    if (known(at)) marks.push({ t: at, label: eventName(kind) });
  }
  for (const e of detail.events) if (!(e.kind in found)) marks.push({ t: s(e.at), label: eventName(e.kind) });
  return marks.sort((a, b) => a.t - b.t);
}

/** courses draws what was computed, with its band, and what was expected. */
function courses() {
  const c = detail.course;
  const e = detail.expected;
  const put = (plot, name, sd, expected) => {
    const lines = [];
    if (e?.[expected]) lines.push({ t: e.t_s, v: e[expected], colour: (k) => k.soft, dash: [7, 5], width: 2, label: say("expected") });
    if (c?.[name]) lines.push({ t: c.t_s, v: c[name], width: 2.5, label: say("measured"), band: band(c[name], sd && c[sd]) });
    plot.setLines(lines);
    plot.figure.hidden = lines.length === 0;
  };
  put(plots.height, "height_m", "height_sd_m", "height_m");
  if (c?.raw_m) plots.height.setLines([{ t: c.t_s, v: c.raw_m, colour: (k) => k.soft, dots: true, label: "" }, ...plots.height.lines]);
  put(plots.speed, "speed_mps", "speed_sd_mps", "speed_mps");
  put(plots.accel, "accel_mps2", null, "accel_mps2");
  key(".expected", !!e?.height_m, say(e?.t_s[0] > 0.01 ? "expected by the model from burnout on" : "expected by the model"));
  key(".reading", !!c?.raw_m);
  key(".measured", !!c);
}

/** key shows an entry of the legend where the plots have such a line. */
function key(name, there, words) {
  const el = page.querySelector(".key" + name);
  el.hidden = !there;
  if (words) setText(el, words);
}

function band(v, sd) {
  if (!sd) return null;
  const edge = (sign) => v.map((x, i) => (x === null || sd[i] === null ? null : x + sign * sd[i]));
  return { lo: edge(-1), hi: edge(1) };
}

/** channels makes a plot for each channel as the board sent it. */
async function channels(marks) {
  const others = make("p", `${say("More channels, as the board sent them")}: `, { class: "more-channels" });
  for (const name of detail.channels) {
    if (hidden.has(name)) continue;
    const [title, kind, least] = usual[name] ?? [name, "", 0];
    const build = () => {
      plots[name] = new Plot(host, view, { title, kind, least });
      plots[name].channel = name;
      plots[name].marks = marks.map((m) => ({ t: m.t, label: "" }));
    };
    if (usual[name]) build();
    else {
      const b = make("button", name, { type: "button", class: "tool" });
      b.addEventListener("click", () => {
        b.remove();
        build();
        refine();
      });
      others.append(b, " ");
    }
  }
  if (others.children.length) host.after(others);
  await refine();
}

/** refine asks for the channels in view, no finer than there are pixels. */
async function refine() {
  const shown = Object.values(plots).filter((p) => p.channel);
  if (shown.length === 0) return;
  const [from, to] = view.range;
  const width = Math.max(100, Math.round((host.clientWidth - 70) * Math.min(2, devicePixelRatio)));
  const q = new URLSearchParams({ channels: shown.map((p) => p.channel).join(","), from_s: from, to_s: to, points: Math.min(4000, width) });
  const data = await answer(`${base}/samples?${q}`);
  for (const series of data.series) {
    plots[series.channel].setLines([{ t: series.t_s, v: series.v, width: 2, label: say("as sent") }]);
  }
}

function cursor(t) {
  const el = document.getElementById("cursor");
  if (t === null) return;
  const words = [`${fixed(t, 2)} s`];
  for (const p of Object.values(plots)) {
    if (p.figure.hidden) continue;
    const best = p.at(t).reverse().find((v) => known(v.value)); // measured before expected
    if (best) words.push(`${p.spec.short ?? p.spec.title.toLowerCase()} ${reading(p.spec.kind, best.value)}`);
  }
  setText(el, words.join(" · "));
}

const decimals = { height: 1, speed: 1, accel: 1, volts: 2, pulse: 0 };

/** reading writes a value as exactly as its kind deserves. */
function reading(kind, si) {
  const v = convert(kind, si);
  return kind in decimals ? `${fixed(v, decimals[kind])} ${unitOf(kind)}` : String(Number(v.toPrecision(7)));
}

async function frames(t) {
  document.getElementById("to-frames").hidden = false;
  setText(document.getElementById("frames-at"), say(t < 0 ? "about {s} s before liftoff" : "about {s} s after liftoff", { s: fixed(Math.abs(t), 2) }));
  const list = await answer(`${base}/frames?at_s=${t.toFixed(3)}`);
  showFrames(document.getElementById("frames"), list, Date.parse(detail.result.launched_at) + t * 1000);
}

/** found is an event as it was worked out after the flight, which takes the place
 *  of what was called live and says so. */
function found(e, s) {
  const r = detail.result;
  const live = s(e.at);
  const lag = known(r.time_to_apogee_s) && known(r.release_lag_s) ? r.time_to_apogee_s + r.release_lag_s : null;
  const worked = { liftoff: 0, burnout: r.burnout_s, apogee: r.time_to_apogee_s, release: lag, touchdown: r.duration_s }[e.kind];
  const t = known(worked) ? worked : live;
  const height = e.kind === "apogee" && known(r.apogee_m) ? [r.apogee_m, r.apogee_sd_m] : [e.altitude_m, e.altitude_sd_m];
  const called = e.kind === "sounded" ? "" : !known(worked) ? say("as called live") : Math.abs(t - live) >= 0.005 ? say("called live at {s} s", { s: fixed(live, 2) }) : "";
  const text = [known(height[0]) ? say("{event}, at {height}", { event: eventName(e.kind), height: quantity("height", ...height) }) : eventName(e.kind), e.note].filter(Boolean).join(", ");
  return { t, at: r.launched_at ? Date.parse(r.launched_at) + t * 1000 : e.at, text, called };
}

function happened() {
  const s = sinceLiftoff;
  const list = document.getElementById("events");
  const all = [
    ...detail.events.map((e) => found(e, s)),
    ...detail.alarms.map((a) => ({ t: s(a.raised_at), at: a.raised_at, text: `${sayOf(a)}. ${toldOf(a)}`, alarm: true,
      called: `${a.over_at ? say("over at {s} s", { s: fixed(s(a.over_at), 2) }) : say("not over")}, ${say(a.acked_at ? "acknowledged" : "not acknowledged")}` })),
  ].sort((a, b) => a.t - b.t);
  list.replaceChildren(...all.map((e) => {
    const li = make("li", "", e.alarm ? { class: "was-alarm" } : {});
    const ms = typeof e.at === "number" ? e.at : Date.parse(e.at);
    if (detail.result.launched_at) {
      const b = make("button", `${fixed(e.t, 2)} s`, { type: "button", class: "mark", title: clock(ms) });
      b.addEventListener("click", () => {
        view.setCursor(e.t);
        frames(e.t).catch(failed);
      });
      li.append(b, " ", e.text);
    } else li.append(make("b", day(ms)), " ", e.text); // a sounder says nothing of the liftoff
    if (e.called) li.append(make("span", ` (${e.called})`, { class: "quiet" }));
    return li;
  }));
}

/** sounder shows what was heard of the board's sounder, and says where nothing else
 *  is known: a plot would be empty. */
async function sounder() {
  const alone = !detail.course && !detail.events.some((e) => e.kind === "liftoff");
  document.getElementById("sounder").hidden = false;
  document.getElementById("sounder-alone").hidden = !alone;
  document.getElementById("plotted").hidden = document.getElementById("raw").hidden = alone;
  for (const tone of await answer(base + "/sounder")) {
    const strip = make("div", "", { class: "strip", tabindex: 0, role: "region", "aria-label": say("What was heard, and how it is grouped: {words}", { words: tone.words }) });
    strip.append(drawTone(tone));
    document.getElementById("tones").append(make("p", tone.words), strip);
  }
}

/** where shows the path over the ground and the landing place, if any is known. */
function where() {
  const landing = detail.landing ?? detail.result.landing;
  const t = detail.track;
  if (!landing && !(t?.east_m?.length > 1)) return;
  document.getElementById("where").hidden = false;
  sketch(document.getElementById("sketch"), { rockets: [{ name: detail.result.rocket, path: t?.east_m && { east: t.east_m, north: t.north_m }, landing, down: true }] });
  setText(document.getElementById("where-words"), landing ? upper(landingWords(landing, true)) : say("The landing was not heard."));
  const map = document.getElementById("where-map");
  map.hidden = geo(landing) === "";
  if (map.hidden) return;
  map.href = geo(landing);
  setText(map, say("{place} on a map", { place: `${landing.latitude_deg.toFixed(6)}, ${landing.longitude_deg.toFixed(6)}` }));
}

/** again leads to the replay, a little before the liftoff. */
async function again() {
  const one = await answer("/api/v1/sessions/" + encodeURIComponent(detail.result.session));
  const at = (Date.parse(detail.result.launched_at) - Date.parse(one.epoch)) / 1000 - 5;
  document.getElementById("watch-again").href += `?at_s=${Math.max(0, at).toFixed(1)}`;
}

async function notes() {
  const list = document.getElementById("notes");
  if (!list) return;
  const show = (n) => {
    const li = make("li", n.text);
    li.append(make("span", ` ${day(Date.parse(n.at))}`, { class: "quiet" }));
    list.append(li);
  };
  for (const n of await answer(base + "/notes")) show(n);
  const form = document.getElementById("note-form");
  form?.addEventListener("submit", async (e) => {
    e.preventDefault();
    const text = document.getElementById("note-text");
    const status = document.getElementById("note-status");
    try {
      show(await change(base + "/notes", { text: text.value }));
      text.value = "";
      setText(status, say("Kept."));
    } catch (err) {
      setText(status, say("Not kept: {why}", { why: err.message }));
    }
  });
}

/** voiding keeps what a person says: that it was no flight, or one after all. */
function voiding() {
  const form = document.getElementById("void-form");
  form?.addEventListener("submit", async (e) => {
    e.preventDefault();
    const why = document.getElementById("void-why")?.value ?? "";
    try {
      await change(base + "/void", { void: form.dataset.void === "true", why });
      location.reload();
    } catch (err) {
      setText(document.getElementById("void-status"), say("Not kept: {why}", { why: err.message }));
    }
  });
}

/** correcting keeps what a person says of a flight that was told apart wrongly,
 *  and goes to what it has become. */
function correcting() {
  const says = {
    undo: () => ({ undo: true }),
    join: () => ({ join: true }),
    split: () => ({ split_s: number("split-s") }),
    rename: () => ({ rocket: document.getElementById("rename-to").value }),
  };
  for (const form of document.querySelectorAll("#correct form")) {
    form.addEventListener("submit", async (e) => {
      e.preventDefault();
      try {
        const now = await change(base + "/correct", says[form.dataset.say]());
        location.assign("/flights/" + encodeURIComponent(now.flights[0]));
      } catch (err) {
        setText(document.getElementById("correct-status"), say("Not done: {why}", { why: err.message }));
      }
    });
  }
}

function number(id) {
  const v = Number(document.getElementById(id).value.trim().replace(",", "."));
  if (!Number.isFinite(v)) throw new Error(say("type a number of seconds, such as 95"));
  return v;
}

/** eventName is the name of an event for people. */
const eventName = (kind) => told({ key: `event.${kind}` }, kind);

const upper = (text) => text.charAt(0).toUpperCase() + text.slice(1);

/** later calls f once things have been quiet for a while. */
function later(f, ms) {
  let timer = 0;
  return () => {
    clearTimeout(timer);
    timer = setTimeout(f, ms);
  };
}

/** downloads asks for the picture and the report in the units chosen. */
function downloads() {
  for (const a of document.querySelectorAll(".downloads [data-units]")) a.search = `?units=${units()}`;
}

downloads();
onSettings(() => {
  downloads();
  if (!detail) return;
  courses();
  happened();
  where();
  refine().catch(failed);
});
function failed(err) {
  setText(document.getElementById("cursor"), say("Not loaded: {why}", { why: err.message }));
}
begin().catch(failed);
notes().catch(failed);
voiding();
correcting();
