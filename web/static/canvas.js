// One place for what makes a canvas crisp: as many pixels as the screen has.

// Asking an element for its size makes the browser lay the page out; sizes are
// watched instead. The news comes after the frame in which the page has changed,
// too late for who draws on the window's resize: so a canvas gets an event of
// its own, "resized".
const sizes = new WeakMap();
const watcher = new ResizeObserver((list) => {
  for (const { target, contentRect: r } of list) {
    const old = sizes.get(target);
    sizes.set(target, { w: r.width, h: r.height });
    if (Math.abs((old?.w ?? 0) - r.width) >= 1 || Math.abs((old?.h ?? 0) - r.height) >= 1) target.dispatchEvent(new Event("resized"));
  }
});

function sizeOf(canvas) {
  let s = sizes.get(canvas);
  if (!s) {
    watcher.observe(canvas);
    s = { w: canvas.clientWidth, h: canvas.clientHeight };
    if (s.w > 0) sizes.set(canvas, s);
  }
  return s;
}

/** remeasure asks a canvas for its size now: before a print nobody watches. */
export function remeasure(canvas) {
  sizes.set(canvas, { w: canvas.clientWidth, h: canvas.clientHeight });
}

/** fit sizes a canvas to its box on the page and gives its context in CSS
 *  pixels. null while the box has no size. */
export function fit(canvas) {
  const { w, h } = sizeOf(canvas);
  if (w === 0 || h === 0) return null;
  const ratio = window.devicePixelRatio || 1;
  const pw = Math.round(w * ratio);
  const ph = Math.round(h * ratio);
  if (canvas.width !== pw || canvas.height !== ph) {
    canvas.width = pw;
    canvas.height = ph;
  }
  const ctx = canvas.getContext("2d");
  ctx.setTransform(pw / w, 0, 0, ph / h, 0, 0);
  ctx.clearRect(0, 0, w, h);
  return { ctx, w, h, ratio };
}

/** crisp puts a coordinate onto the middle of a screen pixel, so that a line of
 *  one pixel is one pixel. */
export function crisp(v, ratio) {
  return (Math.round(v * ratio - 0.5) + 0.5) / ratio;
}

let cached = null;
let cachedTheme = "";

/** ink gives the theme's colours to a drawing. */
export function ink() {
  const now = document.documentElement.dataset.theme;
  if (cached && cachedTheme === now) return cached;
  const css = getComputedStyle(document.documentElement);
  const get = (n) => css.getPropertyValue("--" + n).trim();
  cachedTheme = now;
  cached = {
    ink: get("ink"), soft: get("soft"), line: get("line"), paper: get("paper"), sky: get("sky"),
    band: get("band"), stop: get("stop"), set: [1, 2, 3, 4, 5, 6].map((i) => get("set" + i)),
  };
  return cached;
}
