// The alarms across the top. What calls for eyes stands large, one block for
// each rocket; the rest is a list, folded to one line while something flies so
// that it does not push the rocket off the screen.
import { apart, clone, setText, setClass, change, mayChange } from "./dom.js";
import { setShape } from "./shapes.js";
import { clock, toldOf } from "./units.js";

export class Alarms {
  /** replay: an alarm of the past is shown, not acknowledged. */
  constructor(root, replay) {
    this.urgent = root.querySelector(".urgent");
    this.rest = root.querySelector(".rest");
    this.fold = root.querySelector(".fold");
    this.replay = replay;
    this.cards = new Map();
    this.opened = false; // a person unfolded the rest
    this.fold.addEventListener("click", () => {
      this.opened = !this.opened;
      this.folding();
    });
  }

  /** show draws the alarms that wait. busy: something flies. */
  show(list, busy) {
    const groups = grouped(list);
    const rest = list.filter((a) => !calls(a));
    const seen = new Set();
    this.place(this.urgent, groups, seen, "now");
    this.place(this.rest, rest.map((a) => [a]), seen, "rest");
    for (const [key, card] of this.cards) {
      if (seen.has(key)) continue;
      card.el.remove();
      this.cards.delete(key);
    }
    this.waiting = rest;
    this.busy = busy || groups.length > 0;
    this.folding();
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
    const what = this.urgent.children.length > 0 ? "more" : n === 1 ? "alarm" : "alarms";
    if (fold) setText(this.fold, `${n} ${what}: ${this.waiting.map((a) => upper(said(a))).join(" · ")}`);
  }

  place(into, groups, seen, where) {
    groups.forEach((group, i) => {
      const key = `${where} ${where === "now" ? group[0].rocket || group[0].link : group[0].id}`;
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
    for (const name of ["say", "reason", "since", "about", "ack", "shape"]) card[name] = el.querySelector("." + name);
    card.ack.addEventListener("click", async () => {
      card.ack.disabled = true;
      try {
        await Promise.all(card.ids.map((id) => change("/api/v1/alarms/ack", { id })));
      } catch (err) {
        setText(card.since, `Not acknowledged: ${err.message}`);
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
    setText(card.say, upper(said(a)));
    setText(card.reason, toldOf(a));
    setText(card.since, `${a.rocket || a.link || "station"} · since ${clock(Date.parse(a.raised_at))}${a.acked ? " · acknowledged" : a.active ? "" : " · over, not yet acknowledged"}`);
    card.about.href = "/alarms/" + encodeURIComponent(a.kind);
    card.about.setAttribute("aria-label", `What to do: ${a.say}`);
    card.ack.hidden = card.ids.length === 0 || this.replay || !mayChange();
    card.ack.setAttribute("aria-label", `Acknowledge: ${group.map((g) => g.say).join(", ")}`);
  }
}

/** calls says whether an alarm calls for eyes now. */
export const calls = (a) => a.priority === 1 && a.active && !a.acked;

/** grouped puts what calls for eyes into one group for each rocket; the newest
 *  alarm, which knows most, speaks for it. */
function grouped(list) {
  const groups = new Map();
  for (const a of list) {
    if (!calls(a)) continue;
    const key = a.rocket || a.link;
    groups.set(key, [...(groups.get(key) ?? []), a]);
  }
  for (const g of groups.values()) g.sort((x, y) => Date.parse(y.raised_at) - Date.parse(x.raised_at) || x.id.localeCompare(y.id));
  return [...groups.values()];
}

const said = (a) => (a.active ? a.say : `over: ${a.say}`);
const upper = (text) => text.charAt(0).toUpperCase() + text.slice(1);
