// What was worked out after a flight takes the place of what was called live. The
// board asks for it once rockets are down and nothing flies: that work can wait.
import { answer } from "./dom.js";
import { say } from "./units.js";

const AGAIN_MS = 4000;
const MOST_MS = 60_000;

export class Results {
  /** news is called when something came. */
  constructor(news) {
    this.news = news;
    this.found = new Map();
    this.due = 0;
    this.wait = AGAIN_MS;
    this.asked = "";
  }

  of(s) {
    return this.found.get(`${s.session}~${s.rocket}~${s.flight}`);
  }

  /** look asks for what the landed ones lack; now in ms of the page. */
  look(states, now) {
    const lack = states.filter((s) => s.flight > 0 && !this.of(s)).map((s) => `${s.session}~${s.rocket}~${s.flight}`);
    const asked = lack.join(" ");
    if (asked !== this.asked) {
      this.asked = asked;
      this.wait = AGAIN_MS;
      this.due = Math.max(this.due, now + 1000); // the last frames are still being written
    }
    if (lack.length === 0 || now < this.due) return;
    this.due = now + this.wait;
    this.wait = Math.min(MOST_MS, 2 * this.wait);
    this.ask(new Set(states.map((s) => s.session))).catch(() => {}); // without them the live values stay
  }

  async ask(sessions) {
    for (const session of sessions) {
      for (const r of await answer(`/api/v1/flights?session=${encodeURIComponent(session)}`)) {
        if (r.touchdown_at || r.verdict) this.found.set(r.id, r);
      }
    }
    this.news();
  }
}

/** releaseOf says of a result when the release came. */
export function releaseOf(r, fixed) {
  if (typeof r.release_lag_s !== "number") return "";
  const s = fixed(Math.abs(r.release_lag_s), 2);
  return say(r.release_lag_s < 0 ? "{s} s before apogee" : "{s} s after apogee", { s });
}
