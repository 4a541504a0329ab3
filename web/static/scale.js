// The arithmetic of a plot's scales: pure functions, tested by themselves.

/** linear maps [d0, d1] to [r0, r1]; invert goes back. */
export function linear(d0, d1, r0, r1) {
  const k = d1 === d0 ? 0 : (r1 - r0) / (d1 - d0);
  const f = (v) => r0 + (v - d0) * k;
  f.invert = (p) => (k === 0 ? d0 : d0 + (p - r0) / k);
  return f;
}

/** step is the distance of about n round values over a span: 1, 2 or 5 times a
 *  power of ten (common practice, no source). */
export function step(span, n) {
  const raw = span / Math.max(1, n);
  const power = 10 ** Math.floor(Math.log10(raw));
  for (const m of [1, 2, 5]) if (power * m >= raw * (1 - 1e-12)) return power * m;
  return power * 10;
}

/** ticks are the round values inside [lo, hi]. */
export function ticks(lo, hi, n) {
  if (!(hi > lo)) return [];
  const s = step(hi - lo, n);
  const out = [];
  for (let k = Math.ceil(lo / s - 1e-9); k * s <= hi + s * 1e-9; k++) out.push(Number((k * s).toPrecision(12)));
  return out;
}

/** tickDecimals is how many decimals tell neighbouring ticks apart. */
export function tickDecimals(lo, hi, n) {
  return hi > lo ? Math.max(0, -Math.floor(Math.log10(step(hi - lo, n)) + 1e-9)) : 0;
}

/** extent is the lowest and highest finite value; null if there is none. */
export function extent(values, from = 0, to = values.length) {
  let lo = Infinity;
  let hi = -Infinity;
  for (let i = from; i < to; i++) {
    const v = values[i];
    if (v === null || !Number.isFinite(v)) continue;
    if (v < lo) lo = v;
    if (v > hi) hi = v;
  }
  return lo <= hi ? [lo, hi] : null;
}

/** roomy widens a range by a share of itself, and a flat one to something that
 *  can be drawn. */
export function roomy([lo, hi], share = 0.06) {
  if (hi - lo < 1e-9) {
    const half = Math.max(0.5, Math.abs(lo) * 0.01);
    return [lo - half, hi + half];
  }
  const m = (hi - lo) * share;
  return [lo - m, hi + m];
}

/** zoom scales [lo, hi] about a point; factor below 1 comes nearer. The result
 *  stays inside `bounds` and is never narrower than `least`. */
export function zoom([lo, hi], about, factor, bounds, least) {
  const width = Math.min(bounds[1] - bounds[0], Math.max(least, (hi - lo) * factor));
  const share = hi > lo ? (about - lo) / (hi - lo) : 0.5;
  return shift([about - share * width, about + (1 - share) * width], 0, bounds);
}

/** shift moves [lo, hi] and keeps it inside `bounds`. */
export function shift([lo, hi], by, bounds) {
  const width = hi - lo;
  let a = lo + by;
  if (a < bounds[0]) a = bounds[0];
  if (a + width > bounds[1]) a = bounds[1] - width;
  return [a, a + width];
}

/** nearest is the index of the entry of a rising list next to v; -1 if empty. */
export function nearest(list, v) {
  if (list.length === 0) return -1;
  let lo = 0;
  let hi = list.length - 1;
  while (hi - lo > 1) {
    const mid = (lo + hi) >> 1;
    if (list[mid] < v) lo = mid;
    else hi = mid;
  }
  return v - list[lo] <= list[hi] - v ? lo : hi;
}
