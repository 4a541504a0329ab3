// The alarms across the top, most urgent first, and their acknowledgement.
import { clone, setText, setClass, change, mayChange } from "./dom.js";
import { setShape } from "./shapes.js";
import { clock } from "./units.js";

export class Alarms {
  /** replay: an alarm of the past is shown, not acknowledged. */
  constructor(root, replay) {
    this.root = root;
    this.replay = replay;
    this.cards = new Map();
  }

  show(list) {
    const seen = new Set();
    list.forEach((a, i) => {
      seen.add(a.id);
      let card = this.cards.get(a.id);
      if (!card) {
        card = this.build(a.id);
        this.cards.set(a.id, card);
      }
      this.fill(card, a);
      if (this.root.children[i] !== card.el) this.root.insertBefore(card.el, this.root.children[i] ?? null);
    });
    for (const [id, card] of this.cards) {
      if (seen.has(id)) continue;
      card.el.remove();
      this.cards.delete(id);
    }
  }

  build(id) {
    const el = clone("t-alarm");
    const card = { el, say: el.querySelector(".say"), reason: el.querySelector(".reason"), when: el.querySelector(".when"), ack: el.querySelector(".ack"), shape: el.querySelector(".shape") };
    card.ack.addEventListener("click", async () => {
      card.ack.disabled = true;
      try {
        await change("/api/v1/alarms/ack", { id });
      } catch (err) {
        setText(card.when, `Not acknowledged: ${err.message}`);
      } finally {
        card.ack.disabled = false;
      }
    });
    return card;
  }

  fill(card, a) {
    const { el } = card;
    el.dataset.id = a.id;
    el.dataset.kind = a.kind;
    setClass(el, "p1", a.priority === 1);
    setClass(el, "p2", a.priority === 2);
    setClass(el, "p3", a.priority === 3);
    setClass(el, "over", !a.active);
    setClass(el, "acked", a.acked);
    setShape(card.shape, "alarm-" + a.priority);
    setText(card.say, a.active ? a.say : `Over: ${a.say}`);
    setText(card.reason, a.reason);
    setText(card.when, `${a.rocket || a.link || "station"} · since ${clock(Date.parse(a.raised_at))} UTC${a.acked ? " · acknowledged" : a.active ? "" : " · over, not yet acknowledged"}`);
    card.ack.hidden = a.acked || this.replay || !mayChange();
    card.ack.setAttribute("aria-label", `Acknowledge: ${a.say}`);
  }
}
