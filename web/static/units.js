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
  return point((Number(text) === 0 ? text.replace("-", "") : text).replace("-", "\u2212"));
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
  if (!known(si)) return say("not known");
  const v = convert(kind, si, system);
  const unit = unitOf(kind, system);
  if (!known(sd) || sd <= 0) return `${fixed(v, kind === "time" || kind === "volts" ? 2 : 1)} ${unit}`.trim();
  const s = convert(kind, sd, system);
  const d = plusDecimals(s);
  return `${fixed(v, d)} ± ${fixed(s, d)} ${unit}`.trim();
}

// The texts of the catalogue in the reader's language, by key: see flight/phrase.
const texts = globalThis.padlarkTexts ?? {};
const PLACE = /\{([a-z_]+)(#?)\}/g;

/** say writes a fixed text, whose key is the English one, with these values. */
export const say = (text, values = {}) => (texts[text] ?? text).replace(PLACE, (_, name) => values[name] ?? "");

/** told writes a phrase in the units chosen; otherwise is what it reads if this
 *  page's catalogue does not know it. Only: of the sentences of the text, those
 *  that pass. The station's phrase.Reader does the same. */
export function told(phrase, otherwise = "", system = units(), only = null) {
  let text = texts[phrase?.key];
  if (text === undefined) return otherwise;
  if (only) text = text.split(/(?<=[.!]) |(?<=[。！])/).filter(only).join(SPACE);
  return text.replace(PLACE, (_, name, bare) => part((phrase.args ?? []).find((a) => a.name === name), bare, system));
}

const SPACE = document.documentElement.lang === "ja" ? "" : " ";

function part(a, bare, system) {
  if (!a) return "";
  if (a.phrase) return told(a.phrase, "?", system);
  if (!known(a.value) && !a.unit) return a.text ?? "";
  const long = system === "feet" && /^m(\/s(2|²)?)?$/.test(a.unit ?? "");
  const unit = long ? "ft" + a.unit.slice(1) : a.unit;
  const number = (v) => point((long ? v / FOOT : v).toFixed(a.digits ?? 0));
  const sd = known(a.sd) ? ` ± ${number(a.sd)}` : "";
  return `${known(a.value) ? number(a.value) : "?"}${sd}${bare || !unit ? "" : ` ${unit}`}`;
}

const point = (text) => (document.documentElement.lang === "de" ? text.replace(".", ",") : text);

/** toldOf gives what an alarm says at length, sayOf in short; adviceOf what there is
 *  to do, without the sentences that hold quantities. */
export const toldOf = (alarm) => told(alarm.reason_phrase, alarm.reason);
export const sayOf = (alarm) => told(alarm.say_phrase, alarm.say);
export const adviceOf = (alarm) => told(alarm.reason_phrase, "", units(), (sentence) => !sentence.includes("{")) || toldOf(alarm);

/** verdictOf gives the verdict of a result. */
export const verdictOf = (r) => told({ key: `level.${r.level}`, args: [{ name: "reason", phrase: r.reason }] }, r.verdict);

/** glance writes a height or speed for reading from afar: no more than three
 *  digits that matter. */
export function glance(kind, si, system = units()) {
  if (!known(si)) return "–";
  const v = convert(kind, si, system);
  return fixed(v, Math.abs(v) < 99.95 ? 1 : 0);
}

/** age writes how long ago something was. */
export function age(s) {
  if (!known(s)) return say("never");
  if (s < 1) return say("now");
  if (s < 60) return say("{n} s ago", { n: Math.floor(s) });
  if (s < 3600) return say("{n} min ago", { n: Math.floor(s / 60) });
  return say("{n} h ago", { n: Math.floor(s / 3600) });
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
