// What was heard of a sounder, with the grouping beside it.
import { say } from "./units.js";

/** drawTone is the strip as SVG: time to the right, the tone over the noise upwards, and
 *  below it what was taken for one digit or mark. */
export function drawTone(tone) {
  const NS = "http://www.w3.org/2000/svg";
  const one = (tag, at, text) => {
    const el = document.createElementNS(NS, tag);
    for (const [k, v] of Object.entries(at)) el.setAttribute(k, v);
    if (text !== undefined) el.textContent = text;
    return el;
  };
  const wide = 0.6; // px a step
  const high = 60;
  const width = Math.ceil(tone.db.length * wide);
  const svg = one("svg", { width, height: high + 40, viewBox: `0 0 ${width} ${high + 40}`, "aria-hidden": "true" });
  const y = (db) => (high - Math.max(0, Math.min(30, db)) / 30 * high).toFixed(1);
  svg.append(one("path", { class: "heard", d: `M0 ${high}` + tone.db.map((db, i) => `L${(i * wide).toFixed(1)} ${y(db)}`).join("") + `L${width} ${high}Z` }));
  const groups = [];
  for (const b of tone.beeps) {
    const last = groups.at(-1);
    if (last && b.kind !== "lead" && last.kind === b.kind && last.group === b.group && last.repeat === b.repeat) {
      last.to = b.to;
      last.n++;
    } else groups.push({ ...b, n: 1 });
    svg.append(one("rect", { class: "beep", x: b.from * wide, y: high + 2, width: (b.to - b.from) * wide, height: 5 }));
  }
  for (const g of groups) {
    svg.append(one("path", { class: "group", d: `M${g.from * wide} ${high + 10}v5H${g.to * wide}v-5` }));
    svg.append(one("text", { x: (g.from + g.to) / 2 * wide, y: high + 32, "text-anchor": "middle" }, g.kind === "lead" ? say("lead") : g.kind === "long" ? say("{n} long", { n: g.n }) : `${g.n}`));
  }
  return svg;
}
