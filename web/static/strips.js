// The two small drawings of a card: the ladder (how high, on one scale for all
// that fly) and the trace (how it got there).
import { fit, crisp, ink } from "./canvas.js";
import { linear, ticks, extent, roomy } from "./scale.js";
import { convert, fixed } from "./units.js";

/** ladderTop is the top of the common scale in m: the next round value over
 *  everything that must fit. It steps, so that the ladder does not breathe. */
export function ladderTop(states) {
  let top = 10;
  for (const s of states) {
    top = Math.max(top, s.altitude_m ?? 0, s.highest_m ?? 0, s.predicted_m ?? 0);
  }
  const power = 10 ** Math.floor(Math.log10(top));
  for (const m of [1, 1.5, 2, 3, 4, 5, 6, 8, 10]) if (power * m >= top * 1.02) return power * m;
  return power * 15;
}

/** drawLadder shows height now (solid pointer), highest (bar) and the expected
 *  top (hollow pointer). */
export function drawLadder(canvas, state, top) {
  const c = fit(canvas);
  if (!c) return;
  const { ctx, w, h } = c;
  const k = ink();
  const y = linear(0, top, h - 10, 12);
  const x = Math.round(w * 0.62);
  ctx.drawImage(rungs(c, k, x, y, top), 0, 0, w, h);
  if (state.altitude_m === null) return;
  const now = y(Math.max(0, state.altitude_m));
  ctx.fillStyle = k.sky;
  ctx.fillRect(x, now, 6, Math.max(0, y(0) - now));
  if (state.highest_m !== null) {
    ctx.fillStyle = k.ink;
    ctx.fillRect(x - 4, y(state.highest_m) - 1.5, 14, 3);
  }
  if (state.predicted_m !== null) pointer(ctx, x + 8, y(state.predicted_m), w - x - 9, k.ink, false);
  pointer(ctx, x + 8, now, w - x - 9, k.ink, true);
}

const RUNGS = 8; // scales kept: cards of one page have few sizes
const kept = new Map();

/** rungs is the ladder without its pointers. Its words cost more than all the
 *  rest and are the same for every card, so they are painted once. */
function rungs({ w, h, ratio }, k, x, y, top) {
  const shown = convert("height", top);
  const key = [w, h, ratio, shown, k.ink].join(" ");
  if (kept.has(key)) return kept.get(key);
  if (kept.size >= RUNGS) kept.delete(kept.keys().next().value);
  const image = document.createElement("canvas");
  image.width = Math.round(w * ratio);
  image.height = Math.round(h * ratio);
  const ctx = image.getContext("2d");
  ctx.setTransform(image.width / w, 0, 0, image.height / h, 0, 0);
  ctx.font = "600 12px system-ui, sans-serif";
  ctx.textAlign = "right";
  ctx.textBaseline = "middle";
  ctx.strokeStyle = k.soft;
  ctx.fillStyle = k.soft;
  ctx.lineWidth = 1;
  for (const t of ticks(0, shown, Math.max(2, Math.floor(h / 60)))) {
    const py = crisp(y((t / shown) * top), ratio);
    ctx.beginPath();
    ctx.moveTo(x - 5, py);
    ctx.lineTo(x, py);
    ctx.stroke();
    if (t > 0) ctx.fillText(fixed(t, 0), x - 8, py); // 0 is the ground's own line
  }
  ctx.fillStyle = k.line;
  ctx.fillRect(x, y(top), 6, y(0) - y(top));
  ctx.fillStyle = k.ink;
  ctx.fillRect(0, y(0), w, 3);
  kept.set(key, image);
  return image;
}

function pointer(ctx, x, y, size, colour, solid) {
  const s = Math.max(6, Math.min(size, 16));
  ctx.beginPath();
  ctx.moveTo(x, y);
  ctx.lineTo(x + s, y - s * 0.6);
  ctx.lineTo(x + s, y + s * 0.6);
  ctx.closePath();
  ctx.lineWidth = 2;
  ctx.strokeStyle = ctx.fillStyle = colour;
  if (solid) ctx.fill();
  ctx.stroke();
}

/** drawTrace draws the last `span` ms of height, over `least` m or more. A hole
 *  of over 2 s in the frames is a hole in the line. */
export function drawTrace(canvas, trace, now, span, least = 1) {
  const c = fit(canvas);
  if (!c) return;
  const { ctx, w, h, ratio } = c;
  const k = ink();
  let first = 0;
  while (first < trace.t.length && trace.t[first] < now - span) first++;
  const e = extent(trace.h, first) ?? [0, 1];
  const [lo, hi] = roomy([Math.min(0, e[0]), Math.max(least, e[1])], 0.08);
  const x = linear(now - span, now, 0, w - 2);
  const y = linear(lo, hi, h - 1, 1);
  ctx.strokeStyle = k.soft;
  ctx.lineWidth = 1;
  ctx.beginPath();
  ctx.moveTo(0, crisp(y(0), ratio));
  ctx.lineTo(w, crisp(y(0), ratio));
  ctx.stroke();
  ctx.strokeStyle = k.sky;
  ctx.lineWidth = 2.5;
  ctx.lineJoin = "round";
  ctx.beginPath();
  const n = trace.t.length;
  let last = -Infinity;
  let ax = -Infinity; // where the line was drawn to
  let ay = -Infinity;
  for (let i = Math.max(0, first - 1); i < n; i++) {
    const px = x(trace.t[i]);
    const py = y(trace.h[i]);
    const hole = trace.t[i] - last > 2000;
    last = trace.t[i];
    // A step that nobody can see costs as much to paint as a long one.
    if (!hole && i < n - 1 && px - ax < 1 && Math.abs(py - ay) < 1) continue;
    if (hole) ctx.moveTo(px, py);
    else ctx.lineTo(px, py);
    ax = px;
    ay = py;
  }
  ctx.stroke();
}
