// The small curve of each flight in a list, fetched one after the other as the rows
// come into sight: a station has more to do than to draw a whole season at once.
import { apart } from "./dom.js";

const due = [];
let busy = false;

const seen = new IntersectionObserver((rows) => {
  for (const r of rows) {
    if (!r.isIntersecting) continue;
    seen.unobserve(r.target);
    due.push(r.target);
  }
  next();
}, { rootMargin: "200px" });

async function next() {
  if (busy) return;
  busy = true;
  for (let cell = due.shift(); cell; cell = due.shift()) {
    try {
      const reply = await fetch(cell.dataset.curve);
      if (!reply.ok) continue; // a row without a curve says what it says
      const text = await reply.text();
      apart("a curve", () => cell.replaceChildren(document.adoptNode(new DOMParser().parseFromString(text, "image/svg+xml").documentElement)));
    } catch {
      // the station is away: the numbers stand there
    }
  }
  busy = false;
}

for (const cell of document.querySelectorAll("[data-curve]")) seen.observe(cell);
