// A sketch of the field: north up, the pad in the middle, circles of distance,
// paths over the ground, where things are and where they come down. It is drawn
// from metres east and north of the pad and knows no map.
import { known, convert, unitOf, fixed, say } from "./units.js";
import { ticks } from "./scale.js";

const NS = "http://www.w3.org/2000/svg";
const MOST = 640; // px; on a phone it is as large as its column, so that its words are not shrunk
const EDGE = 34; // px around the outermost circle, for the words

function add(host, tag, attributes, text) {
  const el = document.createElementNS(NS, tag);
  for (const [k, v] of Object.entries(attributes)) el.setAttribute(k, v);
  if (text !== undefined) el.textContent = text;
  host.append(el);
  return el;
}

/** sketch draws into a host element. things: { rockets: [{ name, path: {east, north},
 *  at: {east_m, north_m}, landing }], you: {east_m, north_m}, wind: {mps, from},
 *  radius }, all but rockets may be missing. */
export function sketch(host, things) {
  const svg = document.createElementNS(NS, "svg");
  const size = Math.min(MOST, Math.max(280, host.clientWidth));
  const mid = size / 2;
  svg.setAttribute("viewBox", `0 0 ${size} ${size}`);
  svg.setAttribute("role", "img");
  svg.setAttribute("class", "sketch");
  const reach = reachOf(things);
  // Rings at round values of the unit that is shown.
  const shown = convert("height", reach);
  const rings = ticks(0, shown, 4).filter((v) => v > 0);
  if ((rings.at(-1) ?? 0) < shown) rings.push((rings.at(-1) ?? 0) + (rings[1] - rings[0] || shown));
  const metre = convert("height", 1);
  const scale = (mid - EDGE) / (rings.at(-1) / metre); // px a metre
  const px = (east) => mid + east * scale;
  const py = (north) => mid - north * scale;
  for (const v of rings) {
    const r = (v / metre) * scale;
    add(svg, "circle", { cx: mid, cy: mid, r, class: "ring" });
    add(svg, "text", { x: mid + r * Math.SQRT1_2 + 4, y: mid + r * Math.SQRT1_2 + 4, class: "ring-word" }, `${fixed(v, 0)} ${unitOf("height")}`);
  }
  if (things.radius > 0) add(svg, "circle", { cx: mid, cy: mid, r: things.radius * scale, class: "limit" });
  add(svg, "path", { d: `M${mid} ${EDGE - 26}l8 22h-16z`, class: "north" });
  add(svg, "text", { x: mid + 14, y: EDGE - 10, class: "north-word" }, "N");
  add(svg, "path", { d: `M${mid - 9} ${mid}h18M${mid} ${mid - 9}v18`, class: "pad-mark" });
  if (things.wind) wind(svg, things.wind);
  things.rockets.forEach((r, i) => rocket(svg, r, i % 6 + 1, px, py, scale, size));
  if (things.you) {
    add(svg, "circle", { cx: px(things.you.east_m), cy: py(things.you.north_m), r: 8, class: "you" });
    add(svg, "text", { x: px(things.you.east_m) + 12, y: py(things.you.north_m) + 5, class: "name-word" }, say("you"));
  }
  svg.setAttribute("aria-label", say("A sketch of the field, north up: {what}. The words beside it say the same.", { what: [say("{far} around the pad", { far: `${fixed(rings.at(-1), 0)} ${unitOf("height")}` }), ...things.rockets.map((r) => r.name)].join(", ") }));
  host.replaceChildren(svg);
}

function reachOf({ rockets, you, radius }) {
  let far = Math.max(20, radius ?? 0);
  const see = (e, n, more = 0) => {
    if (known(e) && known(n)) far = Math.max(far, Math.hypot(e, n) + more);
  };
  for (const r of rockets) {
    r.path?.east.forEach((e, i) => see(e, r.path.north[i]));
    if (r.at) see(r.at.east_m, r.at.north_m);
    if (r.landing) see(r.landing.east_m, r.landing.north_m, Math.max(r.landing.along_m, r.landing.across_m));
  }
  if (you) see(you.east_m, you.north_m);
  return far * 1.05;
}

function rocket(svg, r, colour, px, py, scale, size) {
  const g = add(svg, "g", { class: `of c${colour}` });
  if (r.path?.east.length > 1) {
    let d = "";
    r.path.east.forEach((e, i) => {
      const n = r.path.north[i];
      if (known(e) && known(n)) d += `${d === "" ? "M" : "L"}${px(e).toFixed(1)} ${py(n).toFixed(1)}`;
    });
    add(g, "path", { d, class: "track" });
  }
  const l = r.landing;
  if (l) {
    // angle_deg is that of along_m, clockwise from north; SVG turns clockwise too.
    add(g, "ellipse", { cx: px(l.east_m), cy: py(l.north_m), rx: Math.max(3, l.across_m * scale), ry: Math.max(3, l.along_m * scale),
      transform: `rotate(${l.angle_deg} ${px(l.east_m)} ${py(l.north_m)})`, class: r.down ? "landed-at" : "lands" });
  }
  const at = r.at ?? l;
  if (!at) return;
  const [x, y] = [px(at.east_m), py(at.north_m)];
  add(g, "circle", { cx: x, cy: y, r: 6, class: "spot" });
  const right = x < size * 0.7;
  add(g, "text", { x: x + (right ? 10 : -10), y: y - 8, "text-anchor": right ? "start" : "end", class: "name-word" }, r.name);
}

/** wind draws an arrow the way it blows. */
function wind(svg, { mps, from }) {
  const g = add(svg, "g", { class: "wind", transform: `translate(58 58) rotate(${from})` });
  add(g, "path", { d: "M0 -30V22M-9 8L0 26L9 8" });
  add(svg, "text", { x: 14, y: 112, class: "ring-word" }, say("wind {speed}", { speed: `${fixed(convert("speed", mps), 1)} ${unitOf("speed")}` }));
}
