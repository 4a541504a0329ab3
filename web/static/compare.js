// Several flights over each other, aligned at liftoff, with their spread.
import { Plot, View } from "./plot.js";
import { answer, make, setText } from "./dom.js";
import { shift } from "./scale.js";
import { ink } from "./canvas.js";
import { day, fixed, convert, unitOf, known, quantity, say } from "./units.js";
import { onSettings } from "./settings.js";

const MOST = 12; // each colour twice, with dashes of two kinds
const COLOURS = 6;
const dashes = [[], [9, 4], [3, 3], [12, 4, 3, 4], [1, 4], [9, 3, 1, 3, 1, 3]];
/** look is how the i-th flight is drawn. */
const look = (i) => ({ colour: i % COLOURS, dash: dashes[(i + 2 * Math.floor(i / COLOURS)) % dashes.length] });
const boxes = [...document.querySelectorAll(".pick input")];
const loaded = new Map();
const host = document.getElementById("plots");
const view = host && new View(0, 1);
const plot = host && new Plot(host, view, { title: say("Height above the pad"), kind: "height" });

plot?.figure.classList.add("tall");
// Of two flights also how much higher the one was than the other, with its band.
const apart = host && new Plot(host, view, { title: say("Difference of their heights"), kind: "height", least: 2 });
apart?.figure.classList.add("tall");
view?.buttons(document.getElementById("zoom"));

const chosen = () => boxes.filter((b) => b.checked).slice(0, MOST);

async function show() {
  const list = chosen();
  for (const b of boxes) if (b.checked && !list.includes(b)) b.checked = false; // an address may name more
  for (const b of boxes) b.disabled = !b.checked && list.length >= MOST;
  if (list.some((b) => !loaded.has(b.value))) setText(document.getElementById("cursor"), say("Loading the flights …"));
  await Promise.all(list.map(async (b) => {
    if (!loaded.has(b.value)) loaded.set(b.value, await answer("/api/v1/flights/" + encodeURIComponent(b.value)));
  }));
  const asked = list.map((b) => ["flight", b.value]);
  const rocket = document.getElementById("compare").dataset.rocket;
  if (rocket) asked.push(["rocket", rocket]);
  history.replaceState(null, "", "/compare" + (asked.length ? "?" + asked.map(([k, v]) => `${k}=${encodeURIComponent(v)}`).join("&") : ""));
  draw();
  spread(list.map((b) => loaded.get(b.value).result));
}

function draw() {
  const k = ink();
  const list = chosen().map((b) => loaded.get(b.value)).filter(Boolean);
  for (const b of boxes) b.parentElement.querySelector(".swatch").style.background = "none";
  const lines = [];
  chosen().forEach((b, i) => {
    const d = loaded.get(b.value);
    const swatch = b.parentElement.querySelector(".swatch");
    const { colour, dash } = look(i);
    swatch.style.background = dash.length ? `repeating-linear-gradient(90deg, ${k.set[colour]} 0 ${dash[0] + 2}px, transparent 0 ${dash[0] + 6}px)` : k.set[colour];
    if (!d?.course) return;
    lines.push({ t: d.course.t_s, v: d.course.height_m, colour: (inks) => inks.set[colour], dash, width: 2.5, label: called(d.result) });
  });
  const ends = list.flatMap((d) => (d.course ? [d.course.t_s[0], d.course.t_s.at(-1)] : []));
  if (ends.length) {
    view.setBounds(Math.min(...ends), Math.max(...ends));
    // What is compared are the flights; the waiting before them is a zoom away.
    const last = Math.max(...list.map((d) => d.result.duration_s ?? 0));
    if (last > 0) view.setRange(shift([-0.05 * last, 1.1 * last], 0, view.bounds));
  }
  plot.setLines(lines);
  difference(list.filter((d) => d.course));
  host.hidden = document.getElementById("zoom").hidden = lines.length === 0;
  setText(document.getElementById("cursor"), say(lines.length ? "Touch a plot, or move over it, to read its values." : "Choose two or more flights below."));
}

/** difference draws the first of two chosen flights minus the second. The band is
 *  that of two courses whose errors have nothing to do with each other. */
function difference(two) {
  apart.figure.hidden = two.length !== 2;
  if (two.length !== 2) return apart.setLines([]);
  const [a, b] = two.map((d) => d.course);
  const end = Math.min(...two.map((d) => d.result.duration_s ?? d.course.t_s.at(-1)));
  const line = { t: [], v: [], lo: [], hi: [] };
  for (let i = 0, k = 0; i < a.t_s.length; i++) {
    const t = a.t_s[i];
    if (t < 0 || t > end || t < b.t_s[0] || t > b.t_s.at(-1)) continue;
    while (k < b.t_s.length - 2 && b.t_s[k + 1] < t) k++;
    const at = (v) => between(t, b.t_s[k], b.t_s[k + 1], v?.[k], v?.[k + 1]);
    const d = known(a.height_m[i]) && at(b.height_m) !== null ? a.height_m[i] - at(b.height_m) : null;
    const sd = Math.hypot(a.height_sd_m?.[i] ?? 0, at(b.height_sd_m) ?? 0);
    line.t.push(t);
    line.v.push(d);
    line.lo.push(d === null ? null : d - sd);
    line.hi.push(d === null ? null : d + sd);
  }
  apart.spec.title = say("{one} minus {other}, ± one standard deviation", { one: called(two[0].result), other: called(two[1].result) });
  apart.setLines([{ t: line.t, v: line.v, width: 2.5, label: say("difference"), band: { lo: line.lo, hi: line.hi } }]);
}

/** between is a value on the straight line between two; null beside a gap. */
export const between = (t, t0, t1, v0, v1) => (known(v0) && known(v1) ? v0 + ((v1 - v0) * (t - t0)) / (t1 - t0 || 1) : null);

/** called names a flight where there may be another with the same number. */
function called(r) {
  const same = chosen().map((b) => loaded.get(b.value)?.result).filter((o) => o && o.rocket === r.rocket && o.flight === r.flight);
  return `${r.rocket} ${r.flight}` + (same.length > 1 ? ` (${day(Date.parse(r.launched_at)).slice(5)})` : "");
}

/** spread writes mean and standard deviation (n−1) of what was chosen. */
function spread(results) {
  const foot = document.getElementById("spread");
  if (results.length < 2) return foot.replaceChildren();
  const extra = document.querySelectorAll(".choose thead th").length - 8; // of the set-up: what was chosen has no spread
  const columns = [["apogee_m", "height"], ["time_to_apogee_s", "time"], ["max_speed_mps", "speed"], ["release_lag_s", "time"], ["descent_mps", "speed"], ["duration_s", "time"]];
  const tr = make("tr");
  tr.append(make("td"), make("th", say("Mean of {n} ± spread", { n: results.length }), { scope: "row" }));
  for (const [name, kind] of columns) {
    const v = results.map((r) => r[name]).filter(known);
    const text = v.length < 2 ? "–" : quantity(kind, mean(v), deviation(v));
    tr.append(make("td", text, { class: "n" }));
  }
  for (let i = 0; i < extra; i++) tr.append(make("td"));
  foot.replaceChildren(tr);
}

export const mean = (v) => v.reduce((a, b) => a + b, 0) / v.length;
export const deviation = (v) => Math.sqrt(v.reduce((a, b) => a + (b - mean(v)) ** 2, 0) / (v.length - 1));

if (host) {
  view.onCursor = (t) => {
    if (t === null) return;
    const words = plot.at(t).filter((l) => known(l.value)).map((l) => `${l.label}: ${fixed(convert("height", l.value), 1)} ${unitOf("height")}`);
    setText(document.getElementById("cursor"), [`${fixed(t, 2)} s`, ...words].join(" · "));
  };
  const failed = (err) => setText(document.getElementById("cursor"), say("Not loaded: {why}", { why: err.message }));
  for (const b of boxes) b.addEventListener("change", () => show().catch(failed));
  onSettings(() => show().catch(failed));
  show().catch(failed);
}
