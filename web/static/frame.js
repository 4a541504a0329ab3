// What every page has: the buttons for units and colours, the shapes of
// verdicts, and numbers that the server wrote in metric units.
import { units, setUnits, theme, setTheme, onSettings } from "./settings.js";
import { clock, day, quantity, told, say } from "./units.js";
import { setText } from "./dom.js";
import { setShape } from "./shapes.js";

/** showQuantities rewrites the server's numbers in the chosen units. */
export function showQuantities(root = document) {
  for (const el of root.querySelectorAll("[data-kind][data-si]")) {
    const si = el.dataset.si === "" ? null : Number(el.dataset.si);
    const sd = el.dataset.sd ? Number(el.dataset.sd) : null;
    setText(el, quantity(el.dataset.kind, si, sd));
  }
  for (const el of root.querySelectorAll("[data-said]")) {
    const said = JSON.parse(el.dataset.said);
    setText(el, told(said.phrase, said.text));
  }
}

/** showTimes rewrites the server's times for the place where the reader is. */
function showTimes() {
  for (const el of document.querySelectorAll("time[data-as]")) {
    const ms = Date.parse(el.dateTime);
    setText(el, el.dataset.as === "clock" ? clock(ms) : day(ms));
  }
}

/** drawnByServer loads a page again whose picture the server drew in other
 *  units than those chosen. */
function drawnByServer() {
  if (!document.querySelector(".report") || document.documentElement.dataset.units === units()) return;
  location.replace(`${location.pathname}?units=${units()}`);
}

/** words gives a switch its text, and a shorter one for narrow screens. */
function words(button, long, short) {
  setText(button.querySelector(".word"), say(long));
  setText(button.querySelector(".short"), say(short));
}

function showButtons() {
  const u = document.getElementById("units");
  words(u, units() === "feet" ? "feet" : "metres", units() === "feet" ? "ft" : "m");
  u.setAttribute("aria-pressed", String(units() === "feet"));
  words(document.getElementById("theme"), theme(), theme() === "dusk" ? "dusk" : "day");
}

document.getElementById("units").addEventListener("click", () => setUnits(units() === "feet" ? "metric" : "feet"));
document.getElementById("theme").addEventListener("click", () => setTheme(theme() === "dusk" ? "daylight" : "dusk"));
onSettings(() => {
  showButtons();
  showQuantities();
  drawnByServer();
});
document.getElementById("print")?.addEventListener("click", () => window.print());
if (isSecureContext && location.protocol === "https:") navigator.serviceWorker?.register("/worker.js").catch(() => {}); // refused where the certificate is not trusted
const menu = document.getElementById("menu");
document.addEventListener("click", (e) => {
  if (menu?.open && !menu.contains(e.target)) menu.open = false;
});
document.addEventListener("keydown", (e) => {
  if (e.key !== "Escape" || !menu?.open) return;
  menu.open = false;
  menu.firstElementChild.focus();
});
for (const el of document.querySelectorAll(".verdict, .clock-state")) {
  setShape(el.querySelector(".shape"), ["good", "look", "bad"].find((w) => el.classList.contains(w)));
}
for (const el of document.querySelectorAll(".replay-sign .shape")) setShape(el, "replay");
showButtons();
showTimes();
showQuantities();
drawnByServer();
