// The picture that the board draws from: newest state of each rocket, its
// height trace, the alarms and the events.

import { apart } from "./dom.js";
import { say } from "./units.js";

const TRACE_MS = 90_000; // what a trace shows
const TRACE_POINTS = 2000; // 20 a second would be 1800
const GROUND_MS = 3000; // so much of the ground after a landing

export class Picture {
  constructor() {
    this.clear();
  }

  clear() {
    this.session = "";
    this.states = new Map();
    this.alarms = new Map();
    this.events = new Map();
    this.traces = new Map();
    this.links = new Map(); // what is known of each link
    this.crowded = false; // too many of them to show each
    this.changed = new Set(); // rockets since the last draw
    this.alarmsChanged = true;
  }

  /** hello begins a stream: what was known belongs to another one. It stays
   *  until the first update, which tells everything, so that nothing flickers. */
  hello(h) {
    this.begun = h;
  }

  /** begin forgets the stream before. */
  begin(h) {
    this.clear();
    this.session = h.session;
    for (const [rocket, t] of Object.entries(h.traces ?? {})) {
      this.traces.set(rocket, { t: t.t_ms.slice(), h: t.height_m.slice() });
    }
  }

  /** update takes what changed; it returns the events and alarms that are new.
   *  Alarms come first, and each thing by itself. */
  update(u) {
    if (this.begun) apart("the stream's beginning", () => this.begin(this.begun));
    this.begun = null;
    const alarms = [];
    for (const a of u.alarms ?? []) apart("an alarm", () => this.alarm(a, alarms));
    const events = [];
    for (const e of u.events ?? []) {
      apart("an event", () => {
        if (!this.events.has(e.id)) events.push(e);
        this.events.set(e.id, e);
      });
    }
    while (this.events.size > 500) this.events.delete(this.events.keys().next().value);
    for (const s of u.states ?? []) apart("a rocket's state", () => this.state({ ...s, atMs: Date.parse(s.at), heardMs: Date.parse(s.heard) }));
    for (const c of u.changes ?? []) apart("a rocket's state", () => this.change(c));
    for (const h of u.links ?? []) apart("a link", () => this.links.set(h.link, { ...this.links.get(h.link), ...h }));
    if (this.crowded !== !!u.crowded) this.alarmsChanged = true;
    this.crowded = !!u.crowded;
    return { events, alarms };
  }

  alarm(a, news) {
    const old = this.alarms.get(a.id);
    if (old && old.change >= a.change) return;
    this.alarms.set(a.id, a);
    this.alarmsChanged = true;
    if (this.alarms.size > 600) for (const [id, x] of this.alarms) if (!x.active && x.acked) this.alarms.delete(id);
    news.push({ alarm: a, old });
  }

  /** change takes the fields that are new; its times are in Unix ms. */
  change(c) {
    const s = { ...this.states.get(c.rocket), ...c };
    s.atMs = s.at;
    s.heardMs = s.at + s.late;
    this.state(s);
  }

  state(s) {
    this.states.set(s.rocket, s);
    this.changed.add(s.rocket);
    if (s.altitude_m === null) return;
    let t = this.traces.get(s.rocket);
    if (!t) this.traces.set(s.rocket, (t = { t: [], h: [] }));
    if (s.phase !== "landed") t.landed = null;
    else if (s.atMs - (t.landed ??= s.atMs) > GROUND_MS) return; // the flight stays in sight
    const n = t.t.length;
    if (n > 0 && s.atMs <= t.t[n - 1]) {
      if (s.atMs < t.t[n - 1]) t.t.length = t.h.length = 0; // a seek back
      else return; // a tick changed the state, not the height
    }
    t.t.push(s.atMs);
    t.h.push(s.altitude_m);
    if (t.t.length > TRACE_POINTS || s.atMs - t.t[0] > 2 * TRACE_MS) {
      const from = Math.max(t.t.length - TRACE_POINTS, t.t.findIndex((v) => s.atMs - v <= TRACE_MS));
      t.t.splice(0, from);
      t.h.splice(0, from);
    }
  }

  trace(rocket) {
    return this.traces.get(rocket) ?? { t: [], h: [] };
  }

  /** waiting lists the alarms that a person has to see: those of configured
   *  rockets first, what goes on before what is over, then the most urgent. guest says whose name is not. */
  waiting(guest = () => false) {
    return [...this.alarms.values()]
      .filter((a) => (a.active || !a.acked) && !(this.crowded && guest(a.rocket)))
      .sort((a, b) => guest(a.rocket) - guest(b.rocket) || b.active - a.active || a.priority - b.priority || Date.parse(b.raised_at) - Date.parse(a.raised_at) || a.id.localeCompare(b.id));
  }
}

/** guestWords tells of the ids that nobody configured, one line in all. */
export function guestWords(links) {
  const parts = [...links].filter(([, h]) => h.guests > 0).map(([link, h]) => say(h.guests === 1 ? "{n} unknown id on {link}" : "{n} unknown ids on {link}", { n: h.guests, link }));
  return parts.join(", ");
}

/** refusalWords tells of the links whose frames the decoder cannot read: the
 *  link hears, and yet no rocket shows. */
export function refusalWords(links) {
  return [...links].filter(([, h]) => unreadable(h)).map(([link, h]) => `${link}: ${h.hint}`).join(". ");
}

/** unreadable says whether a link hears frames of which it can read none. */
export const unreadable = (h) => h.state === "up" && !!h.hint;

export { TRACE_MS };
