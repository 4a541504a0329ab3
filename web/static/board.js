// The board: every rocket at once, sorted by what the crew has to know about
// it. One stream fills a picture; one loop draws what changed.
import { Stream } from "./live.js";
import { Picture, guestWords, refusalWords } from "./picture.js";
import { Results } from "./results.js";
import { Card, zoneOf } from "./cards.js";
import { Alarms, calls } from "./alarms.js";
import { Sound } from "./sound.js";
import { Fit, crowd } from "./fit.js";
import { ladderTop } from "./strips.js";
import { setShape } from "./shapes.js";
import { apart, setText, setClass } from "./dom.js";
import { convert, fixed, unitOf, toldOf, sayOf, say } from "./units.js";
import { onSettings } from "./settings.js";

const AGES_MS = 250; // ages are written anew this often
// A frame in which anything changes costs the browser some ms, whatever it is:
// so what has come in is shown at most this often, and a part of it each time.
const SLOT_MS = 30;
const WRITES = 10; // cards whose words change in one frame at most
const DRAWS = 4; // cards painted in one frame at most
// Each drawing is painted this often. With many in the air each waits longer:
// painting costs more than anything else here.
const PACE_MS = { air: 100, pad: 1000, down: 1000 };
const PACE_EACH_MS = 12;

export class Board {
  /** root is the element with data-stream; replay changes what is offered. */
  constructor(root, { path = root.dataset.stream, replay = false } = {}) {
    this.root = root;
    this.replay = replay;
    this.configured = JSON.parse(root.dataset.rockets || "[]") ?? [];
    this.site = JSON.parse(root.dataset.site || "{}") ?? {};
    this.picture = new Picture();
    this.cards = new Map();
    this.zones = Object.fromEntries(["air", "pad", "down"].map((z) => [z, document.getElementById("zone-" + z)]));
    this.alarms = new Alarms(document.getElementById("alarms"), JSON.parse(root.dataset.kinds || "[]"), replay);
    this.sound = new Sound(document.getElementById("sound"));
    this.now = document.getElementById("say-now");
    this.soon = document.getElementById("say-soon");
    this.results = new Results(() => {
      this.all = true;
    });
    this.lastAges = 0;
    this.lastSlot = 0;
    this.frames = 0; // drawn, for measuring
    this.fit = new Fit(root, (step) => this.crowds(step));
    this.stream = new Stream(path, {
      hello: (h) => this.hello(h),
      update: (u) => this.update(u),
      end: () => this.onEnd?.(),
    });
    this.present();
    onSettings(() => {
      this.all = true;
    });
    window.addEventListener("resize", () => {
      this.all = this.fit.wanted = true;
    });
    this.loop = this.loop.bind(this);
    requestAnimationFrame(this.loop);
  }

  /** present shows what the station knew when it wrote the page; the stream
   *  takes over as soon as it speaks. */
  present() {
    const first = JSON.parse(this.root.dataset.first || "null");
    if (!first) return;
    this.stream.mark(first.hello.now);
    this.hello(first.hello);
    this.update(first.update);
  }

  hello(h) {
    this.picture.hello(h);
    this.first = true; // what comes first is history, not news
    this.onHello?.(h);
  }

  update(u) {
    if (this.first) this.all = true;
    const news = this.picture.update(u);
    const now = this.stream.now();
    for (const { alarm, old } of news.alarms) {
      if (this.picture.crowded && this.guest(alarm.rocket)) continue;
      apart("an alarm's sound", () => this.sound.alarm(alarm, old, now));
      if (alarm.active && !alarm.acked && !old?.active) apart("an alarm's words", () => this.speak(alarm.priority < 3, `${sayOf(alarm)}. ${toldOf(alarm)}`));
    }
    if (!this.first) for (const e of news.events) apart("an event", () => this.tell(e, now));
    this.first = false;
    this.onUpdate?.(u);
  }

  /** guest says whether a name is that of a rocket which nobody configured.
   *  Another sender under a rocket's id, as "Teal (2)", is no guest. */
  guest(name) {
    if (!name || this.configured.length === 0) return false;
    return !this.configured.some((c) => name === c || (name.startsWith(c + " (") && name.endsWith(")")));
  }

  /** guests writes one line in place of more of them than anybody can look at. */
  guests() {
    const el = document.getElementById("guests");
    const text = this.picture.crowded ? guestWords(this.picture.links) : "";
    el.hidden = text === "";
    setText(el, text);
    const refused = refusalWords(this.picture.links);
    const line = document.getElementById("refusals");
    line.hidden = refused === "";
    setText(line.firstElementChild, refused);
  }

  tell(e, now) {
    const text = eventWords(e);
    if (!text) return;
    this.sound.event(e, text, now);
    this.speak(false, text);
  }

  /** speak hands words to a screen reader. */
  speak(urgent, text) {
    setText(urgent ? this.now : this.soon, text);
  }

  loop(t) {
    requestAnimationFrame(this.loop);
    this.frames++;
    const p = this.picture;
    const busy = !this.zones.air.hidden;
    if (p.alarmsChanged || this.all || busy !== this.busy) {
      p.alarmsChanged = false;
      this.busy = busy;
      this.list = p.waiting((name) => this.guest(name));
      apart("the alarms", () => this.alarms.show(this.list, busy, p.states, this.stream.now()));
      apart("the order of the cards", () => {
        this.alarmed();
        this.arrange();
      });
    }
    const ages = t - this.lastAges >= AGES_MS;
    if (ages) {
      this.lastAges = t;
      apart("the age of the news", () => this.freshness());
      apart("the unknown ids", () => this.guests());
      apart("the sound", () => this.sound.remind(this.list ?? []));
    }
    if (this.all) for (const card of this.cards.values()) card.drawn = null;
    if (ages && !busy) this.results.look([...p.states.values()].filter((s) => s.phase === "landed"), t);
    if (ages || this.all || t - this.lastSlot >= SLOT_MS) {
      apart("the numbers of the alarms", () => this.alarms.tick(p.states, this.stream.now(), this.site));
      this.lastSlot = t;
      if (ages || this.all || p.changed.size > 0) apart("the cards", () => this.showCards(ages || this.all));
      apart("the drawings", () => this.draw(t));
    }
    if (this.fit.wanted) apart("the size of the cards", () => this.fit.now());
    this.all = false;
  }

  /** alarmed marks the cards of rockets with an alarm that waits for somebody. */
  alarmed() {
    const worst = new Map();
    for (const a of this.list) if (a.active && !a.acked && a.priority < 3) worst.set(a.rocket, Math.min(a.priority, worst.get(a.rocket) ?? 3));
    for (const [name, card] of this.cards) card.mark("alarm", String(worst.get(name) ?? ""));
  }

  /** crowds says how densely each zone is set. */
  crowds(step) {
    for (const [zone, section] of Object.entries(this.zones)) {
      section.dataset.crowd = crowd(section.querySelector(".cards").children.length, zone, step);
    }
    const air = this.zones.air.dataset.crowd;
    for (const [name, card] of this.cards) {
      const brief = card.zone === "air" && (air === "many" || air === "packed");
      if (card.brief !== brief) this.picture.changed.add(name); // its words are written anew
      card.brief = brief;
    }
    this.alarms.crowd(step > 1);
  }

  /** showCards writes the cards of rockets that changed, a few in each frame, or
   *  all of them. */
  showCards(everyone) {
    const p = this.picture;
    const now = this.stream.now();
    const shown = (name) => !(p.crowded && this.guest(name));
    if (p.crowded) for (const name of p.changed) if (!shown(name)) p.changed.delete(name);
    const names = everyone ? new Set([...this.configured, ...[...p.states.keys()].filter(shown)]) : [...p.changed].slice(0, WRITES);
    let moved = false;
    let answered = true; // the line above still says what the cards say
    for (const [name, card] of everyone ? this.cards : []) {
      if (names.has(name)) continue; // a stranger that this stream has not heard
      card.el.remove();
      this.cards.delete(name);
      moved = true;
    }
    for (const name of names) {
      p.changed.delete(name); // before anything that may throw, or it would do so in each frame
      const s = p.states.get(name);
      const zone = zoneOf(s);
      let card = this.cards.get(name);
      if (!card || card.zone !== zone) {
        card?.el.remove();
        card = new Card(name, zone);
        this.cards.set(name, card);
        moved = true;
      }
      const go = card.el.dataset.go;
      apart(name, () => card.show(s, s && now !== null ? Math.max(0, (now - s.heardMs) / 1000) : Infinity, this.site, this.cut, s && this.results.of(s)));
      if (card.el.dataset.go !== go) answered = false;
    }
    if (moved) {
      this.alarmed();
      this.arrange();
    }
    if (moved || everyone || !answered) this.answer();
  }

  /** order is one order for all time: as configured, then by name. Only what
   *  calls for eyes goes before all others. */
  order() {
    const urgent = new Set((this.list ?? []).filter(calls).map((a) => a.rocket));
    return [...this.cards.keys()].sort((a, b) => {
      const i = this.configured.indexOf(a);
      const k = this.configured.indexOf(b);
      return urgent.has(b) - urgent.has(a) || (i < 0 ? 1e9 : i) - (k < 0 ? 1e9 : k) || a.localeCompare(b);
    });
  }

  /** arrange puts the cards into their zones. */
  arrange() {
    const order = this.order();
    for (const [zone, section] of Object.entries(this.zones)) {
      const cards = order.map((n) => this.cards.get(n)).filter((c) => c.zone === zone);
      const list = section.querySelector(".cards");
      cards.forEach((c, i) => {
        if (list.children[i] !== c.el) list.insertBefore(c.el, list.children[i] ?? null);
      });
      section.hidden = cards.length === 0;
    }
    this.fit.wanted = true;
    document.getElementById("nothing").hidden = this.cards.size > 0;
    // While something flies, the pad and the landed ones step back.
    setClass(this.root, "flying", !this.zones.air.hidden);
  }

  /** answer writes the one line that answers the first question. */
  answer() {
    const el = document.getElementById("answer");
    const words = el.querySelector(".answer-words");
    // Of those that are shown.
    const states = this.order().map((n) => this.picture.states.get(n)).filter((s) => s); // as the cards stand
    const air = states.filter((s) => zoneOf(s) === "air");
    const ready = states.filter((s) => zoneOf(s) === "pad" && s.go && this.cards.get(s.rocket)?.el.dataset.go === "go");
    const urgent = (this.list ?? []).some((a) => a.priority === 1 && a.active);
    el.hidden = urgent; // the alarm says it
    if (this.cut) {
      setShape(el.querySelector(".shape"), "stale");
      setText(words, say("Not known: no news from the station"));
    } else if (air.length > 0) {
      setShape(el.querySelector(".shape"), "up");
      setText(words, say("In the air: {names}", { names: names(air) }));
    } else if (ready.length > 0) {
      setShape(el.querySelector(".shape"), "go");
      setText(words, say("Nothing in the air. Ready: {names}", { names: names(ready) }));
    } else if (states.length > 0 && states.every((s) => zoneOf(s) === "down")) {
      setShape(el.querySelector(".shape"), "landed");
      setText(words, states.length === 1 ? say("Nothing in the air. {names} has landed", { names: names(states) }) : say("Nothing in the air. All have landed"));
    } else {
      setShape(el.querySelector(".shape"), "none");
      setText(words, say(states.length ? "Nothing in the air, none ready" : "Nothing heard yet"));
    }
  }

  /** freshness says aloud when the stream has stopped. */
  freshness() {
    const el = document.getElementById("stopped");
    const stale = this.stream.stale();
    this.cut = stale; // the cards are written anew with it right after this
    setClass(this.root, "stale", stale);
    el.hidden = !stale;
    if (stale) {
      const s = Math.floor(this.stream.silence() / 1000);
      setText(el, say("NOT LIVE: no news from the station for {n} s. The numbers below are old.", { n: s }));
    }
  }

  /** draw paints the cards in turn, never many in one frame. */
  draw(t) {
    const p = this.picture;
    const now = this.stream.now();
    if (now === null) return;
    const cards = [...this.cards.values()];
    const air = cards.filter((c) => c.zone === "air");
    const pace = { ...PACE_MS, air: Math.max(PACE_MS.air, PACE_EACH_MS * air.length) };
    const since = (c) => (c.drawn == null ? Infinity : t - c.drawn);
    const due = cards.filter((c) => since(c) >= pace[c.zone]);
    if (due.length === 0) return;
    due.sort((a, b) => (b.zone === "air") - (a.zone === "air") || since(b) - since(a));
    const top = ladderTop(air.map((c) => p.states.get(c.rocket)));
    for (const c of due.slice(0, DRAWS)) {
      c.drawn = t;
      apart(c.rocket, () => c.draw(p.states.get(c.rocket), p.trace(c.rocket), now, top));
    }
  }
}

function names(states) {
  const list = states.map((s) => s.rocket);
  return list.length > 6 ? say("{list} and {n} more", { list: list.slice(0, 5).join(", "), n: list.length - 5 }) : list.join(", ");
}

function eventWords(e) {
  switch (e.kind) {
    case "liftoff": return say("{rocket}: liftoff", e);
    case "apogee": return e.altitude_m == null ? say("{rocket}: apogee", e) : say("{rocket}: apogee, {height}", { rocket: e.rocket, height: `${fixed(convert("height", e.altitude_m), 1)} ${say(unitOf("height") === "ft" ? "feet" : "metres")}` });
    case "release": return say("{rocket}: release", e);
    case "touchdown": return say("{rocket}: landed", e);
    case "reboot": return say("{rocket}: the board started again", e);
    default: return "";
  }
}

const root = document.getElementById("board");
if (root && !root.classList.contains("replay")) window.board = new Board(root);
