// The field: where each rocket is and comes down, and the way there from the pad
// and from whoever holds the phone.
import { Stream } from "./live.js";
import { Picture } from "./picture.js";
import { sketch } from "./sketch.js";
import { apart, make, setText } from "./dom.js";
import { known, say } from "./units.js";
import { bearing, distance, walk, whereWords, landingWords, geo } from "./place.js";
import { onSettings } from "./settings.js";

const DRAW_MS = 500;
const POINTS = 600; // of a path
const root = document.getElementById("field");
const site = JSON.parse(root.dataset.site || "{}");
const picture = new Picture();
const paths = new Map();
let you = null; // { lat, lon, sd }

const stream = new Stream("/api/v1/live?changes=1&hz=2", {
  hello: (h) => picture.hello(h),
  update: (u) => {
    picture.update(u);
    for (const s of picture.states.values()) apart(s.rocket, () => follow(s));
  },
});
window.field = { picture, stream };

/** follow keeps the path of the present flight. */
function follow(s) {
  if (!s.position) return;
  let p = paths.get(s.rocket);
  if (!p || p.flight !== s.flight || p.session !== s.session) paths.set(s.rocket, (p = { flight: s.flight, session: s.session, east: [], north: [] }));
  if (s.phase === "waiting" || p.east.at(-1) === s.position.east_m && p.north.at(-1) === s.position.north_m) return;
  p.east.push(s.position.east_m);
  p.north.push(s.position.north_m);
  if (p.east.length > POINTS) for (const list of [p.east, p.north]) list.splice(0, list.length - POINTS);
}

/** pad is where the middle of the sketch lies: the site, or what a rocket's own
 *  place and its way from the pad say. */
function pad() {
  if (known(site.latitude_deg) && known(site.longitude_deg)) return { lat: site.latitude_deg, lon: site.longitude_deg };
  for (const s of picture.states.values()) {
    const p = s.landing ?? s.position;
    if (!p || !known(p.latitude_deg)) continue;
    const lat = p.latitude_deg - p.north_m / 111195; // m of one degree of the mean meridian (from memory)
    return { lat, lon: p.longitude_deg - p.east_m / (111195 * Math.cos((lat * Math.PI) / 180)) };
  }
  return null;
}

function fromPad(lat, lon) {
  const p = pad();
  if (!p) return null;
  const b = bearing(p.lat, p.lon, lat, lon);
  return { east_m: b.m * Math.sin((b.deg * Math.PI) / 180), north_m: b.m * Math.cos((b.deg * Math.PI) / 180) };
}

function show() {
  const el = document.getElementById("stopped");
  el.hidden = !stream.stale();
  if (stream.stale()) setText(el, say("NOT LIVE: no news from the station for {n} s. What stands below is old.", { n: Math.floor(stream.silence() / 1000) }));
  const states = [...picture.states.values()].sort((a, b) => a.rocket.localeCompare(b.rocket));
  const placed = states.filter((s) => s.position || s.landing);
  document.getElementById("no-place").hidden = placed.length > 0;
  const wind = site.wind_mps > 0 && known(site.wind_from_deg) ? { mps: site.wind_mps, from: site.wind_from_deg } : null;
  sketch(document.getElementById("sketch"), {
    rockets: placed.map((s) => ({ name: s.rocket, path: paths.get(s.rocket), at: s.position, landing: s.landing, down: s.phase === "landed" })),
    you: you && fromPad(you.lat, you.lon), wind, radius: site.field_radius_m,
  });
  document.getElementById("ways").replaceChildren(...placed.map(way));
}

/** way says in words what the sketch shows of a rocket. */
function way(s) {
  const li = make("li");
  li.append(make("h2", s.rocket));
  const to = s.landing ?? s.position;
  const line = (text) => text && li.append(make("p", text));
  line(s.phase === "landed" ? "" : upper(whereWords(s, site)));
  line(upper(landingWords(s.landing, s.phase === "landed")));
  if (you && known(to.latitude_deg)) {
    const b = bearing(you.lat, you.lon, to.latitude_deg, to.longitude_deg);
    line(say("From you: {walk}", { walk: walk(b.m, b.deg) }));
  }
  const address = geo(to);
  if (address) {
    const a = make("a", say("{place} on a map", { place: `${to.latitude_deg.toFixed(5)}, ${to.longitude_deg.toFixed(5)}` }), { href: address, class: "button" });
    li.append(a);
  }
  return li;
}

const upper = (text) => text.charAt(0).toUpperCase() + text.slice(1);

const ask = document.getElementById("locate");
ask.addEventListener("click", () => {
  const status = document.getElementById("locate-status");
  if (!isSecureContext || !navigator.geolocation) {
    setText(status, say("This browser tells where it is only by https: see Phones."));
    return;
  }
  setText(status, say("Asking the phone …"));
  navigator.geolocation.watchPosition((p) => {
    you = { lat: p.coords.latitude, lon: p.coords.longitude, sd: p.coords.accuracy };
    setText(status, say("You are known to ± {far}.", { far: distance(you.sd) }));
  }, (err) => setText(status, say("The phone does not tell where it is: {why}.", { why: err.message })), { enableHighAccuracy: true, maximumAge: 5000 });
});

setInterval(() => apart("the field", show), DRAW_MS);
onSettings(show);
