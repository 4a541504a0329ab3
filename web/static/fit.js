// How much room a rocket gets on a screen that is read from afar: as much as
// lets all of them stand on it without scrolling. On a phone the board is a list
// to scroll, alarms first.

// Each level leaves more room than the one before. f is how many of the style
// sheet's steps are taken: first those that wait or have landed step back, then
// those in the air, last the alarms. u is the size of a card that waits.
const levels = [
  { f: 0, u: 1 }, { f: 1, u: 1 }, { f: 2, u: 2 }, { f: 2, u: 1.6 }, { f: 2, u: 1.25 },
  { f: 3, u: 2 }, { f: 3, u: 1.6 }, { f: 3, u: 1.25 }, { f: 3, u: 1 },
  { f: 4, u: 1 }, { f: 5, u: 1 }, { f: 6, u: 1 }, { f: 7, u: 1 },
];
const STEPS = 7;
const WIDE = "(min-width: 1100px)";

/** crowd names how many cards share a zone; those in the air are set closer
 *  from step 5 on. */
export function crowd(n, zone, step) {
  const by = ["one", "two", "few", "eight", "some", "many"][[1, 2, 4, 8, 12, Infinity].findIndex((most) => n <= most)];
  if (zone !== "air" || step < 5) return by;
  if (step === 5) return n > 4 ? "many" : by;
  return n > 4 ? "packed" : "many";
}

export class Fit {
  /** apply(step) is called before the page is measured. */
  constructor(root, apply) {
    this.root = root;
    this.apply = apply;
    this.level = 0;
    this.wide = matchMedia(WIDE);
    this.wanted = true;
    // A card that has more to say may push others off the screen.
    new ResizeObserver(() => {
      if (this.wide.matches && this.level < levels.length - 1 && !fits()) this.wanted = true;
    }).observe(root);
  }

  /** now finds the roomiest level at which nothing needs scrolling. Each level
   *  that is tried lays the page out anew, so the search begins beside the
   *  present one unless the number of cards has jumped. */
  now() {
    this.wanted = false;
    if (!this.wide.matches) return this.set(0);
    const n = this.root.querySelectorAll(".card").length;
    const jumped = Math.abs(n - (this.cards ?? 0)) > 2;
    this.cards = n;
    let lo = 0; // the answer lies in lo to hi
    let hi = levels.length - 1;
    let next = jumped ? hi >> 1 : this.level;
    let at;
    while (lo < hi) {
      this.set((at = next));
      if (fits()) hi = at;
      else lo = Math.min(at + 1, hi); // the last level is taken even if it does not fit
      next = jumped ? (lo + hi) >> 1 : at === hi ? hi - 1 : lo;
    }
    if (at !== lo) this.set(lo);
  }

  set(level) {
    const { f, u } = levels[level];
    this.level = level;
    for (let i = 1; i <= STEPS; i++) this.root.classList.toggle("f" + i, i <= f);
    this.root.style.setProperty("--u", u);
    this.apply(f);
  }
}

const fits = () => document.documentElement.scrollHeight <= innerHeight;
