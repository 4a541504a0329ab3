// A compact time-series plot on a canvas. Several plots of one page share a
// view (the stretch of time shown) and a cursor.
//
// A line is { t: [s], v: [SI | null], colour, width, dash, band: { lo, hi },
// dots, label }. A null is a gap and is drawn as one. A colour that is a
// function gets the theme's inks, so that it follows the theme.
import { fit, crisp, ink, remeasure } from "./canvas.js";
import { linear, ticks, tickDecimals, extent, roomy, zoom, shift, nearest } from "./scale.js";
import { convert, unitOf, fixed, say } from "./units.js";
import { make } from "./dom.js";
import { onSettings } from "./settings.js";

const LEFT = 58;
const RIGHT = 10;
const TOP = 10;
const BOTTOM = 24;
const LEAST = 0.05; // s: the narrowest view
const FONT = "13px system-ui, sans-serif";
const ROW = 15; // the height of a row of labels

/** View is what the plots of a page share. */
export class View {
  constructor(from, to) {
    this.bounds = [from, to];
    this.range = [from, to];
    this.cursor = null;
    this.plots = [];
    this.onRange = null; // called when the stretch of time changed
    this.onCursor = null; // called when the cursor moved
    this.onPick = null; // called when a person picked an instant
    const again = () => this.draw();
    window.addEventListener("beforeprint", () => this.print(true));
    window.addEventListener("afterprint", () => this.print(false));
    window.addEventListener("resize", again);
    onSettings(again);
  }

  /** print draws for paper: dark on white, as wide as a sheet. */
  print(on) {
    const page = document.documentElement;
    if (on) this.theme = page.dataset.theme;
    page.dataset.theme = on ? "daylight" : this.theme;
    page.classList.toggle("printing", on);
    for (const p of this.plots) {
      remeasure(p.canvas);
      p.draw();
    }
  }

  setBounds(from, to) {
    this.bounds = [from, to];
    this.setRange([from, to]);
  }

  setRange(range) {
    this.range = range;
    this.draw();
    this.onRange?.(range);
  }

  setCursor(t) {
    this.cursor = t === null ? null : Math.min(this.range[1], Math.max(this.range[0], t));
    this.draw();
    this.onCursor?.(this.cursor);
  }

  /** buttons offers by touch and keyboard what dragging does. */
  buttons(host) {
    const add = (text, label, f) => {
      const b = make("button", text, { type: "button", class: "tool", "aria-label": say(label) });
      b.addEventListener("click", f);
      host.append(b, " ");
    };
    const nearer = (factor) => () => {
      const [lo, hi] = this.range;
      const inside = this.cursor !== null && this.cursor >= lo && this.cursor <= hi;
      this.setRange(zoom([lo, hi], inside ? this.cursor : (lo + hi) / 2, factor, this.bounds, LEAST));
    };
    const aside = (share) => () => this.setRange(shift(this.range, (this.range[1] - this.range[0]) * share, this.bounds));
    add("+", "Zoom in", nearer(0.5));
    add("\u2212", "Zoom out", nearer(2));
    add("\u2190", "Earlier", aside(-0.4));
    add("\u2192", "Later", aside(0.4));
    add(say("All"), "Show all", () => this.setRange([...this.bounds]));
  }

  /** draw paints all plots once in the next frame, however often it is asked. */
  draw() {
    if (this.waiting) return;
    this.waiting = requestAnimationFrame(() => {
      this.waiting = 0;
      for (const p of this.plots) p.draw();
    });
  }
}

export class Plot {
  /** spec: { title, kind, least } where kind names the quantity for the units
   *  and least is the narrowest range of values drawn, so that noise does not
   *  fill the plot. */
  constructor(host, view, spec) {
    this.view = view;
    this.spec = spec;
    this.lines = [];
    this.marks = []; // { t, label }
    this.figure = make("figure", "", { class: "plot" });
    this.caption = make("figcaption", spec.title);
    this.canvas = make("canvas", "", { tabindex: "0", role: "img" });
    this.figure.append(this.caption, this.canvas);
    host.append(this.figure);
    view.plots.push(this);
    this.canvas.addEventListener("resized", () => view.draw());
    this.listen();
  }

  setLines(lines) {
    this.lines = lines;
    this.view.draw();
  }

  x() {
    return linear(this.view.range[0], this.view.range[1], LEFT, this.canvas.clientWidth - RIGHT);
  }

  /** valueRange is the lowest and highest value in view, in shown units. */
  valueRange() {
    let lo = Infinity;
    let hi = -Infinity;
    for (const l of this.lines) {
      const [i, k] = visible(l.t, this.view.range);
      for (const values of l.band ? [l.v, l.band.lo, l.band.hi] : [l.v]) {
        const e = extent(values, i, k);
        if (e) {
          lo = Math.min(lo, e[0]);
          hi = Math.max(hi, e[1]);
        }
      }
    }
    if (lo > hi) return [0, 1];
    const short = (this.spec.least ?? 0) - (hi - lo);
    if (short > 0) [lo, hi] = [lo - short / 2, hi + short / 2];
    return roomy([convert(this.spec.kind, lo), convert(this.spec.kind, hi)]);
  }

  draw() {
    const c = fit(this.canvas);
    if (!c) return;
    const { ctx, w, h, ratio } = c;
    const k = ink();
    const x = linear(this.view.range[0], this.view.range[1], LEFT, w - RIGHT);
    const range = this.valueRange();
    ctx.font = FONT;
    const labels = this.labels(c, x);
    const rows = 1 + Math.max(-1, ...labels.map((l) => l.row)); // they stand above the lines
    const y = linear(range[0], range[1], h - BOTTOM, TOP + rows * ROW);
    this.grid(c, k, x, y, range);
    ctx.save();
    ctx.beginPath();
    ctx.rect(LEFT, TOP - 2, w - LEFT - RIGHT, h - TOP - BOTTOM + 4);
    ctx.clip();
    for (const l of this.lines) if (l.band) this.band(ctx, k, l, x, y);
    for (const l of this.lines) this.line(ctx, k, l, x, y);
    this.events(c, k, x, labels);
    ctx.restore();
    if (this.view.cursor !== null) {
      ctx.strokeStyle = k.ink;
      ctx.lineWidth = 1;
      ctx.beginPath();
      ctx.moveTo(crisp(x(this.view.cursor), ratio), TOP);
      ctx.lineTo(crisp(x(this.view.cursor), ratio), h - BOTTOM);
      ctx.stroke();
      for (const l of this.lines) if (!l.dots) this.marker(ctx, k, l, x, y);
    }
    if (this.drag) {
      ctx.fillStyle = k.sky;
      ctx.globalAlpha = 0.2;
      ctx.fillRect(Math.min(this.drag.from, this.drag.to), TOP, Math.abs(this.drag.to - this.drag.from), h - TOP - BOTTOM);
      ctx.globalAlpha = 1;
    }
    this.describe(range);
  }

  describe(range) {
    const unit = unitOf(this.spec.kind);
    this.canvas.setAttribute("aria-label", say("{title} in {unit}, from {from} s to {to} s, between {low} and {high}", { title: this.spec.title, unit: unit || say("its own unit"), from: fixed(this.view.range[0], 1), to: fixed(this.view.range[1], 1), low: fixed(range[0], 1), high: fixed(range[1], 1) }));
    const text = this.spec.title + (unit ? `, ${unit}` : "");
    if (this.caption.textContent !== text) this.caption.textContent = text;
  }

  grid({ ctx, w, h, ratio }, k, x, y, range) {
    ctx.font = FONT;
    ctx.fillStyle = k.soft;
    ctx.strokeStyle = k.line;
    ctx.lineWidth = 1 / ratio;
    ctx.textBaseline = "middle";
    ctx.textAlign = "right";
    const rows = Math.max(2, Math.floor(h / 45));
    const decimals = tickDecimals(range[0], range[1], rows);
    for (const t of ticks(range[0], range[1], rows)) {
      rule(ctx, LEFT, crisp(y(t), ratio), w - RIGHT, crisp(y(t), ratio));
      ctx.fillText(fixed(t, decimals), LEFT - 7, y(t));
    }
    ctx.textAlign = "center";
    ctx.textBaseline = "top";
    const [from, to] = this.view.range;
    const cols = Math.max(2, Math.floor(w / 90));
    const places = tickDecimals(from, to, cols);
    for (const t of ticks(from, to, cols)) {
      rule(ctx, crisp(x(t), ratio), TOP, crisp(x(t), ratio), h - BOTTOM);
      ctx.fillText(`${fixed(t, places)} s`, Math.min(x(t), w - RIGHT - 14), h - BOTTOM + 6);
    }
    if (range[0] < 0 && range[1] > 0) {
      ctx.strokeStyle = k.soft;
      rule(ctx, LEFT, crisp(y(0), ratio), w - RIGHT, crisp(y(0), ratio));
    }
  }

  line(ctx, k, l, x, y) {
    ctx.strokeStyle = typeof l.colour === "function" ? l.colour(k) : l.colour ?? k.sky;
    ctx.lineWidth = l.width ?? 2;
    ctx.lineJoin = "round";
    ctx.setLineDash(l.dash ?? []);
    ctx.beginPath();
    const [i, n] = visible(l.t, this.view.range);
    if (l.dots) return this.dots(ctx, l, i, n, x, y);
    let down = false;
    for (let j = i; j < n; j++) {
      const v = l.v[j];
      if (v === null || !Number.isFinite(v)) {
        down = false;
        continue;
      }
      const px = x(l.t[j]);
      const py = y(convert(this.spec.kind, v));
      if (down) ctx.lineTo(px, py);
      else ctx.moveTo(px, py);
      down = true;
    }
    ctx.stroke();
    ctx.setLineDash([]);
  }

  /** marker is a ring where the cursor meets a line. */
  marker(ctx, k, l, x, y) {
    const i = nearest(l.t, this.view.cursor);
    if (i < 0 || !Number.isFinite(l.v[i]) || l.v[i] === null || Math.abs(l.t[i] - this.view.cursor) > 2) return;
    ctx.beginPath();
    ctx.arc(x(l.t[i]), y(convert(this.spec.kind, l.v[i])), 5, 0, 2 * Math.PI);
    ctx.fillStyle = k.paper;
    ctx.strokeStyle = typeof l.colour === "function" ? l.colour(k) : l.colour ?? k.sky;
    ctx.lineWidth = 2.5;
    ctx.fill();
    ctx.stroke();
  }

  dots(ctx, l, from, to, x, y) {
    ctx.fillStyle = ctx.strokeStyle;
    const r = 1.6;
    for (let j = from; j < to; j++) {
      if (l.v[j] !== null) ctx.fillRect(x(l.t[j]) - r, y(convert(this.spec.kind, l.v[j])) - r, 2 * r, 2 * r);
    }
  }

  band(ctx, k, l, x, y) {
    ctx.fillStyle = k.band;
    ctx.strokeStyle = k.sky;
    ctx.lineWidth = 1;
    const [i, n] = visible(l.t, this.view.range);
    for (let j = i; j < n; ) {
      const begin = j;
      while (j < n && l.band.lo[j] !== null && l.band.hi[j] !== null) j++;
      if (j - begin > 1) {
        ctx.beginPath();
        for (let m = begin; m < j; m++) ctx.lineTo(x(l.t[m]), y(convert(this.spec.kind, l.band.hi[m])));
        for (let m = j - 1; m >= begin; m--) ctx.lineTo(x(l.t[m]), y(convert(this.spec.kind, l.band.lo[m])));
        ctx.closePath();
        ctx.fill();
        ctx.stroke(); // its edge keeps the contrast that the pale ground cannot
      }
      j = Math.max(j, begin) + 1;
    }
  }

  /** labels places the words of the marks in view: in the first row where there
   *  is room, and never beyond the plot. */
  labels({ ctx, w }, x) {
    const free = [-Infinity, -Infinity, -Infinity];
    const out = [];
    for (const m of this.marks) {
      const px = x(m.t);
      if (!m.label || px < LEFT || px > w - RIGHT) continue;
      const width = ctx.measureText(m.label).width;
      const left = px + 4 + width > w - RIGHT ? px - 4 - width : px + 4;
      const row = Math.max(0, free.findIndex((end) => end < left));
      free[row] = left + width + 6;
      out.push({ text: m.label, left, row });
    }
    return out;
  }

  events({ ctx, h, ratio }, k, x, labels) {
    ctx.strokeStyle = k.ink;
    ctx.lineWidth = 1 / ratio;
    ctx.setLineDash([3, 3]);
    for (const m of this.marks) rule(ctx, crisp(x(m.t), ratio), TOP, crisp(x(m.t), ratio), h - BOTTOM);
    ctx.setLineDash([]);
    ctx.textAlign = "left";
    ctx.textBaseline = "top";
    ctx.lineJoin = "round";
    ctx.fillStyle = k.ink;
    // A rim of paper keeps the words apart from the lines of other marks.
    ctx.strokeStyle = k.paper;
    ctx.lineWidth = 4;
    for (const l of labels) {
      ctx.strokeText(l.text, l.left, TOP + l.row * ROW);
      ctx.fillText(l.text, l.left, TOP + l.row * ROW);
    }
  }

  /** at reads every line next to an instant, for the cursor's words. */
  at(t) {
    return this.lines.map((l) => {
      const i = nearest(l.t, t);
      return { label: l.label ?? "", value: i < 0 || Math.abs(l.t[i] - t) > 2 ? null : l.v[i] };
    });
  }

  listen() {
    const el = this.canvas;
    const view = this.view;
    el.addEventListener("pointerdown", (e) => {
      el.setPointerCapture(e.pointerId);
      this.drag = { from: e.offsetX, to: e.offsetX };
    });
    el.addEventListener("pointermove", (e) => {
      if (this.drag) this.drag.to = e.offsetX;
      view.setCursor(this.x().invert(e.offsetX));
    });
    el.addEventListener("pointerup", (e) => {
      const d = this.drag;
      this.drag = null;
      if (!d) return;
      const x = this.x();
      const a = x.invert(Math.min(d.from, e.offsetX));
      const b = x.invert(Math.max(d.from, e.offsetX));
      if (Math.abs(e.offsetX - d.from) > 8 && b - a >= LEAST) {
        view.setRange(shift([a, b], 0, view.bounds));
      } else {
        view.setCursor(x.invert(e.offsetX));
        view.onPick?.(view.cursor);
      }
    });
    el.addEventListener("pointercancel", () => {
      this.drag = null;
      view.draw();
    });
    // Turning the wheel zooms about the pointer; with it alone over a plot the page
    // scrolls on once all is seen.
    el.addEventListener("wheel", (e) => {
      const factor = e.deltaY < 0 ? 0.8 : 1.25;
      const all = view.range[0] <= view.bounds[0] && view.range[1] >= view.bounds[1];
      if (factor > 1 && all) return;
      e.preventDefault();
      view.setRange(zoom(view.range, this.x().invert(e.offsetX), factor, view.bounds, LEAST));
    }, { passive: false });
    el.addEventListener("dblclick", () => view.setRange([...view.bounds]));
    el.addEventListener("keydown", (e) => this.key(e));
  }

  key(e) {
    const view = this.view;
    const [lo, hi] = view.range;
    const at = view.cursor ?? (lo + hi) / 2;
    const move = ((hi - lo) / 100) * (e.shiftKey ? 10 : 1);
    switch (e.key) {
      case "ArrowLeft": view.setCursor(at - move); break;
      case "ArrowRight": view.setCursor(at + move); break;
      case "+": case "=": view.setRange(zoom([lo, hi], at, 0.5, view.bounds, LEAST)); break;
      case "-": view.setRange(zoom([lo, hi], at, 2, view.bounds, LEAST)); break;
      case "0": view.setRange([...view.bounds]); break;
      case "Enter": view.onPick?.(at); break;
      default: return;
    }
    e.preventDefault();
  }
}

function rule(ctx, x0, y0, x1, y1) {
  ctx.beginPath();
  ctx.moveTo(x0, y0);
  ctx.lineTo(x1, y1);
  ctx.stroke();
}

/** visible is the part of a rising list that touches the view, one more on each
 *  side so that lines run to the edge. */
export function visible(t, [from, to]) {
  let i = nearest(t, from);
  let k = nearest(t, to);
  if (i < 0) return [0, 0];
  while (i > 0 && t[i] > from) i--;
  while (k < t.length - 1 && t[k] < to) k++;
  return [i, k + 1];
}
