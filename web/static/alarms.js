// The alarms across the top. What calls for eyes stands large, one block for
// each rocket, with its numbers as they are now; the rest is a list, folded to one
// line while something flies so that it does not push the rocket off the screen.
import { apart, clone, setText, setClass, change, mayChange } from "./dom.js";
import { setShape } from "./shapes.js";
import { clock, toldOf, sayOf, adviceOf, say, known, glance, convert, fixed, unitOf, age } from "./units.js";
import { whereWords, landingWords } from "./place.js";
import { OLD } from "./cards.js";

export class Alarms {
  /** kinds are those of alarms, most urgent first. replay: an alarm of the past is
   *  shown, not acknowledged. */
  constructor(root, kinds, replay) {
    this.urgent = root.querySelector(".urgent");
    this.rest = root.querySelector(".rest");
    this.fold = root.querySelector(".fold");
    this.kinds = kinds;
    this.replay = replay;
    this.cards = new Map();
    this.groups = [];
    this.opened = false; // a person unfolded the rest
    this.fold.addEventListener("click", () => {
      this.opened = !this.opened;
      this.folding();
    });
  }

  /** show draws the alarms that wait. busy: something flies; states are those of
   *  the rockets, now is the station's time in ms. */
  show(list, busy, states, now) {
    this.groups = this.grouped(list, states, now);
    const rest = list.filter((a) => !calls(a));
    const seen = new Set();
    this.place(this.urgent, this.groups, seen, "now");
    this.place(this.rest, rest.map((a) => [a]), seen, "rest");
    for (const [key, card] of this.cards) {
      if (seen.has(key)) continue;
      card.el.remove();
      this.cards.delete(key);
    }
    this.waiting = rest;
    this.busy = busy || this.groups.length > 0;
    this.folding();
  }

  /** tick writes the numbers of the rockets that call for eyes. */
  tick(states, now, site) {
    for (const group of this.groups) {
      const card = this.cards.get(keyOf("now", group[0]));
      if (card) apart("an alarm's numbers", () => live(card, group[0], states.get(group[0].rocket), now, site));
    }
  }

  /** crowd folds the rest where rockets need the room. */
  crowd(on) {
    if (on === this.crowded) return;
    this.crowded = on;
    this.folding();
  }

  folding() {
    if (!this.waiting) return;
    const n = this.waiting.length;
    const fold = (this.busy || this.crowded) && n > 0;
    this.fold.hidden = !fold;
    this.rest.hidden = fold && !this.opened;
    this.fold.setAttribute("aria-expanded", String(!this.rest.hidden));
    setClass(this.fold, "act", this.waiting.some((a) => a.priority === 2 && a.active));
    const what = this.urgent.children.length > 0 ? say("more") : say(n === 1 ? "alarm" : "alarms");
    if (fold) setText(this.fold, `${n} ${what}: ${this.waiting.map((a) => upper(said(a))).join(" · ")}`);
  }

  place(into, groups, seen, where) {
    groups.forEach((group, i) => {
      const key = keyOf(where, group[0]);
      seen.add(key);
      let card = this.cards.get(key);
      if (!card) {
        card = this.build();
        this.cards.set(key, card);
      }
      apart("an alarm's card", () => this.fill(card, group));
      if (into.children[i] !== card.el) into.insertBefore(card.el, into.children[i] ?? null);
    });
  }

  build() {
    const el = clone("t-alarm");
    const card = { el, ids: [] };
    for (const name of ["say", "live", "big", "unit", "speed", "left", "place", "reason", "since", "about", "ack", "shape"]) card[name] = el.querySelector("." + name);
    card.ack.addEventListener("click", async () => {
      card.ack.disabled = true;
      try {
        await Promise.all(card.ids.map((id) => change("/api/v1/alarms/ack", { id })));
      } catch (err) {
        setText(card.since, say("Not acknowledged: {why}", { why: err.message }));
      } finally {
        card.ack.disabled = false;
      }
    });
    return card;
  }

  fill(card, group) {
    const a = group[0];
    const { el } = card;
    card.ids = group.filter((g) => !g.acked).map((g) => g.id);
    el.dataset.kinds = group.map((g) => g.kind).join(" ");
    setClass(el, "p1", calls(a));
    setClass(el, "p2", a.priority === 2 && a.active && !a.acked);
    setClass(el, "over", !a.active);
    setClass(el, "acked", a.acked);
    setShape(card.shape, "alarm-" + a.priority);
    if (!calls(a) || !card.flies) { // else live writes them
      setText(card.say, upper(said(a)));
      setText(card.reason, toldOf(a));
      card.live.hidden = card.place.hidden = true;
    }
    setText(card.since, [a.rocket || a.link || say("station"), say("since {at}", { at: clock(Date.parse(a.raised_at)) }), ...(a.acked ? [say("acknowledged")] : a.active ? [] : [say("over, not yet acknowledged")])].join(" · "));
    card.about.href = "/alarms/" + encodeURIComponent(a.kind);
    card.about.setAttribute("aria-label", `${say("What to do")}: ${sayOf(a)}`);
    card.ack.hidden = card.ids.length === 0 || this.replay || !mayChange();
    card.ack.setAttribute("aria-label", `${say("Acknowledge")}: ${group.map((g) => sayOf(g)).join(", ")}`);
  }

  /** grouped puts what calls for eyes into one group for each rocket. In it the
   *  most urgent kind speaks, which is also the most exact; of the groups the one
   *  whose rocket comes down first stands first. */
  grouped(list, states, now) {
    const groups = new Map();
    for (const a of list) {
      if (!calls(a)) continue;
      const key = a.rocket || a.link;
      groups.set(key, [...(groups.get(key) ?? []), a]);
    }
    const rank = (a) => (this.kinds.indexOf(a.kind) + 1 || 1e3);
    for (const g of groups.values()) g.sort((x, y) => rank(x) - rank(y) || Date.parse(y.raised_at) - Date.parse(x.raised_at) || x.id.localeCompare(y.id));
    const down = (g) => downIn(g[0], states.get(g[0].rocket), now) ?? 1e9;
    return [...groups.values()].sort((g, k) => Math.round(down(g)) - Math.round(down(k)) || rank(g[0]) - rank(k[0]));
  }
}

const keyOf = (where, a) => `${where} ${where === "now" ? a.rocket || a.link : a.id}`;

/** calls says whether an alarm calls for eyes now. */
export const calls = (a) => a.priority === 1 && a.active && !a.acked;

/** downIn is in how many s the rocket of an alarm reaches the ground, if that can
 *  be told: unbraked, or as fast as it sinks now. */
export function downIn(a, s, now) {
  if (!s || now === null || now - s.heardMs > OLD * 1000 || s.phase !== "descent") return null;
  const since = (now - s.atMs) / 1000;
  if (a.kind === "fast-descent") return known(s.altitude_m) && s.speed_mps < -0.1 ? Math.max(0, s.altitude_m / -s.speed_mps - since) : null;
  if (a.kind !== "ballistic" && a.kind !== "no-release") return null;
  return known(s.fall_s) ? Math.max(0, s.fall_s - since) : null;
}

/** live writes what the rocket does now; what its alarm told in numbers is older
 *  and gives way. */
function live(card, a, s, now, site) {
  const flies = !!s && s.phase !== "waiting" && s.phase !== "landed" && known(s.altitude_m);
  card.flies = flies;
  card.live.hidden = card.place.hidden = !flies;
  if (!flies) {
    setText(card.say, upper(said(a)));
    return setText(card.reason, toldOf(a));
  }
  const old = now !== null && now - s.heardMs > OLD * 1000;
  setClass(card.el, "old", old);
  setText(card.big, whole("height", s.altitude_m));
  setText(card.unit, unitOf("height"));
  const way = s.speed_mps < -0.5 ? "↓" : s.speed_mps > 0.5 ? "↑" : "→";
  setText(card.speed, old ? say("heard {age}", { age: age((now - s.heardMs) / 1000) }) : known(s.speed_mps) ? `${way} ${whole("speed", Math.abs(s.speed_mps))} ${unitOf("speed")}` : "");
  const left = downIn(a, s, now);
  setText(card.left, left === null ? "" : left < 0.5 ? say("down any moment") : say("down in {n} s", { n: Math.max(1, Math.round(left)) }));
  const where = [whereWords(s, site), landingWords(s.landing)].filter(Boolean).join(", ");
  card.place.hidden = where === "";
  setText(card.place, where);
  setText(card.say, upper(said(short(a))));
  setText(card.reason, old ? toldOf(a) : adviceOf(a));
}

/** whole writes what is read at a run: no digit that flickers. */
const whole = (kind, si) => (Math.abs(convert(kind, si)) < 9.5 ? glance(kind, si) : fixed(convert(kind, si), 0));

const said = (a) => (a.active ? sayOf(a) : say("over: {say}", { say: sayOf(a) }));

/** short is an alarm that counts no seconds in what it says: they stand beside it. */
const short = (a) => ({ ...a, say_phrase: { ...a.say_phrase, key: a.say_phrase?.key?.replace(/^(ballistic\.say)\..*/, "$1.short") } });
const upper = (text) => text.charAt(0).toUpperCase() + text.slice(1);
