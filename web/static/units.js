// Quantities to text. Everything arrives in SI; what is unknown is null and
// reads "–", never 0.
import { units } from "./settings.js";

// The international foot of 1959 is 0.3048 m exactly.
const FOOT = 0.3048;

const metric = { height: "m", speed: "m/s", accel: "m/s²", time: "s", volts: "V", pulse: "µs" };
const feet = { height: "ft", speed: "ft/s", accel: "ft/s²" };

/** unitOf names the unit that a kind of quantity is shown in. */
export function unitOf(kind, system = units()) {
  return (system === "feet" && feet[kind]) || metric[kind] || "";
}

/** convert takes an SI value to the unit that it is shown in. */
export function convert(kind, si, system = units()) {
  return system === "feet" && feet[kind] ? si / FOOT : si;
}

/** known says whether there is a number at all. */
export const known = (v) => typeof v === "number" && Number.isFinite(v);

/** fixed writes a number with a true minus sign, and no "-0". */
export function fixed(v, decimals) {
  const text = v.toFixed(decimals);
  return (Number(text) === 0 ? text.replace("-", "") : text).replace("-", "\u2212");
}

/** plusDecimals is how many decimals a standard deviation bears: its first
 *  digit, two if that is a 1. The server's plusDecimals does the same. */
export function plusDecimals(sd) {
  let e = Math.floor(Math.log10(sd));
  if (sd / 10 ** e < 2) e--;
  return Math.max(0, Math.min(3, -e));
}

/** quantity writes "84.2 ± 0.4 m". */
export function quantity(kind, si, sd = null, system = units()) {
  if (!known(si)) return "not known";
  const v = convert(kind, si, system);
  const unit = unitOf(kind, system);
  if (!known(sd) || sd <= 0) return `${fixed(v, kind === "time" || kind === "volts" ? 2 : 1)} ${unit}`.trim();
  const s = convert(kind, sd, system);
  const d = plusDecimals(s);
  return `${fixed(v, d)} ± ${fixed(s, d)} ${unit}`.trim();
}

const spoken = { "m/s²": "ft/s²", "m/s2": "ft/s2", "m/s": "ft/s", m: "ft" };
// A number and its unit; in "2 of 3 m" and "2 to 3 m" the first has none.
const UNIT = " (m\\/s²|m\\/s2|m\\/s|m)(?![\\w/]|[^\\x00-\\x7f])";
const QUANTITY = new RegExp(`^(\\d+(?:\\.\\d+)?)(?:${UNIT}|(?= (?:of|to) \\d+(?:\\.\\d+)?${UNIT}))`);

/** told gives a sentence of the record in the units chosen. The record keeps
 *  sentences as they were said; their numbers are read again from the form
 *  "number, space, unit" that the station writes. exact are values (SI) that
 *  some of them were rounded from; in names nothing is a quantity. The server's
 *  system.write does the same. */
export function told(text, { exact = [], names = [] } = {}, system = units()) {
  if (system !== "feet" || !text) return text;
  let out = "";
  for (let i = 0; i < text.length; ) {
    const rest = text.slice(i);
    const name = names.filter((n) => n && rest.startsWith(n)).sort((a, b) => b.length - a.length)[0];
    const m = !name && !/[\w.]/.test(text[i - 1] ?? " ") && QUANTITY.exec(rest);
    if (m) {
      const d = (m[1].split(".")[1] ?? "").length;
      const v = exact.map(Math.abs).find((x) => x.toFixed(d) === m[1]) ?? Number(m[1]);
      out += (v / FOOT).toFixed(d) + (m[2] ? ` ${spoken[m[2]]}` : "");
    } else out += name ?? text[i];
    i += m ? m[0].length : (name ?? text[i]).length;
  }
  return out;
}

/** toldOf gives what an alarm says at length. */
export const toldOf = (alarm) => told(alarm.reason, { names: [alarm.rocket, alarm.link] });

/** glance writes a height or speed for reading from afar: no more than three
 *  digits that matter. */
export function glance(kind, si, system = units()) {
  if (!known(si)) return "–";
  const v = convert(kind, si, system);
  return fixed(v, Math.abs(v) < 99.95 ? 1 : 0);
}

/** age writes how long ago something was. */
export function age(s) {
  if (!known(s)) return "never";
  if (s < 1) return "now";
  if (s < 60) return `${Math.floor(s)} s ago`;
  if (s < 3600) return `${Math.floor(s / 60)} min ago`;
  return `${Math.floor(s / 3600)} h ago`;
}

const two = (n, width = 2) => String(n).padStart(width, "0");

/** clock writes a time of day where the reader is. */
export function clock(ms) {
  const t = new Date(ms);
  return `${two(t.getHours())}:${two(t.getMinutes())}:${two(t.getSeconds())}`;
}

/** fine writes a time of day to the millisecond. */
export const fine = (ms) => `${clock(ms)}.${two(new Date(ms).getMilliseconds(), 3)}`;

/** date writes the day where the reader is. */
export function date(ms) {
  const t = new Date(ms);
  return `${two(t.getFullYear(), 4)}-${two(t.getMonth() + 1)}-${two(t.getDate())}`;
}

/** day writes a date and a time of day. */
export const day = (ms) => `${date(ms)} ${clock(ms).slice(0, 5)}`;
