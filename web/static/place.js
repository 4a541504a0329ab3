// Where a rocket is and where it comes down, in words that a person can walk by.
import { convert, fixed, known, say, unitOf } from "./units.js";

const EARTH = 6371008.8; // mean radius in m (IUGG: (2a+b)/3 of GRS 80; from memory)

/** bearing gives distance in m and direction in degrees from one place to another. */
export function bearing(lat0, lon0, lat, lon) {
  const rad = Math.PI / 180;
  const dLat = (lat - lat0) * rad;
  const dLon = (((lon - lon0 + 540) % 360) - 180) * rad;
  const a = Math.sin(dLat / 2) ** 2 + Math.cos(lat0 * rad) * Math.cos(lat * rad) * Math.sin(dLon / 2) ** 2;
  const y = Math.sin(dLon) * Math.cos(lat * rad);
  const x = Math.cos(lat0 * rad) * Math.sin(lat * rad) - Math.sin(lat0 * rad) * Math.cos(lat * rad) * Math.cos(dLon);
  return { m: 2 * EARTH * Math.asin(Math.min(1, Math.sqrt(a))), deg: (Math.atan2(y, x) / rad + 360) % 360 };
}

const compass = ["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"];

/** distance writes whole metres or feet: nobody paces tenths. */
export const distance = (m) => `${fixed(convert("height", m), 0)} ${unitOf("height")}`;

/** walk writes "85 m north-east (42°)". */
export function walk(m, deg) {
  if (m < 1) return say("at");
  return `${distance(m)} ${say(compass[Math.round(deg / 45) % 8])} (${Math.round(deg) % 360}°)`;
}

const ofPad = (m, deg) => (m < 1 ? say("at the pad") : say("{walk} of the pad", { walk: walk(m, deg) }));

/** whereWords says where it is; empty if nobody knows. */
export function whereWords(s, site = {}) {
  const p = s.position;
  if (p) return say(p.source === "wind" ? "{where}, by the wind" : "{where}", { where: ofPad(p.range_m, p.bearing_deg) });
  if (!known(s.latitude_deg) || !known(s.longitude_deg)) return "";
  if (!known(site.latitude_deg) || !known(site.longitude_deg)) return `${s.latitude_deg.toFixed(5)}, ${s.longitude_deg.toFixed(5)}`;
  const b = bearing(site.latitude_deg, site.longitude_deg, s.latitude_deg, s.longitude_deg);
  return ofPad(b.m, b.deg);
}

/** landingWords says where it comes or came down, and how sure that is. */
export function landingWords(l, down = false) {
  if (!l) return "";
  const values = { where: ofPad(l.range_m, l.bearing_deg), sure: distance(Math.max(l.along_m, l.across_m)) };
  if (l.source === "wind") return say(down ? "came down {where}, ± {sure}, by the wind" : "comes down {where}, ± {sure}, by the wind", values);
  return say(down ? "came down {where}, ± {sure}, by its GPS" : "comes down {where}, ± {sure}, by its GPS", values);
}

/** geo is an address that a phone's map opens (RFC 5870). */
export const geo = (p) => (p && known(p.latitude_deg) && known(p.longitude_deg) ? `geo:${p.latitude_deg.toFixed(6)},${p.longitude_deg.toFixed(6)}` : "");
