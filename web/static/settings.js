// What a person chose on this browser: units and colours. Kept in the
// browser's local storage; where that is off, for as long as the page lives.
// The units go into a cookie too, so that the station writes pages, reports and
// pictures in them.

const fallback = new Map();
const listeners = new Set();

function read(key, otherwise) {
  try {
    return localStorage.getItem("padlark." + key) ?? otherwise;
  } catch {
    return fallback.get(key) ?? otherwise;
  }
}

/** write keeps a value; null forgets it. */
function write(key, value) {
  try {
    if (value === null) localStorage.removeItem("padlark." + key);
    else localStorage.setItem("padlark." + key, value);
  } catch {
    if (value === null) fallback.delete(key);
    else fallback.set(key, value);
  }
  for (const f of listeners) f();
}

// A page whose address asks for units has them until a person changes them.
let asked = new URLSearchParams(location.search).get("units");

/** units is "metric" or "feet". */
export const units = () => (asked || read("units", document.documentElement.dataset.units)) === "feet" ? "feet" : "metric";
export function setUnits(v) {
  asked = null;
  tell(v);
  write("units", v);
}

const YEAR = 365 * 24 * 3600; // s

/** tell leaves the units for the station. */
function tell(v) {
  document.cookie = `padlark-units=${v}; Path=/; Max-Age=${YEAR}; SameSite=Lax`;
}

const kept = read("units", "metric");
if (kept !== "metric" && !document.cookie.includes(`padlark-units=${kept}`)) tell(kept);

const dark = matchMedia("(prefers-color-scheme: dark)");
const ofSystem = () => (dark.matches ? "dusk" : "daylight");

/** theme is "daylight" or "dusk": as the phone is set, unless a person said
 *  otherwise here. */
export const theme = () => (read("theme", ofSystem()) === "dusk" ? "dusk" : "daylight");
export function setTheme(v) {
  document.documentElement.dataset.theme = v;
  write("theme", v === ofSystem() ? null : v); // as the phone has it: follow the phone again
}
dark.addEventListener("change", () => {
  document.documentElement.dataset.theme = theme();
  for (const f of listeners) f();
});

/** onSettings calls f after each change. */
export function onSettings(f) {
  listeners.add(f);
}
