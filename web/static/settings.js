// What a person chose on this browser: units and colours. Kept in the
// browser's local storage; where that is off, for as long as the page lives.

const fallback = new Map();
const listeners = new Set();

function read(key, otherwise) {
  try {
    return localStorage.getItem("padlark." + key) ?? otherwise;
  } catch {
    return fallback.get(key) ?? otherwise;
  }
}

function write(key, value) {
  try {
    localStorage.setItem("padlark." + key, value);
  } catch {
    fallback.set(key, value);
  }
  for (const f of listeners) f();
}

/** units is "metric" or "feet". */
export const units = () => (read("units", "metric") === "feet" ? "feet" : "metric");
export const setUnits = (v) => write("units", v);

/** theme is "daylight" or "dusk". */
export const theme = () => (read("theme", "daylight") === "dusk" ? "dusk" : "daylight");
export function setTheme(v) {
  document.documentElement.dataset.theme = v;
  write("theme", v);
}

/** onSettings calls f after each change. */
export function onSettings(f) {
  listeners.add(f);
}
