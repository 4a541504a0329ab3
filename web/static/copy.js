// The copy to a time-series server: is it sent, and if not, why.
import { answer, setText } from "./dom.js";
import { setShape } from "./shapes.js";
import { age } from "./units.js";

const EVERY = 5000; // ms
const box = document.getElementById("copy");

function show(c) {
  box.hidden = false;
  box.dataset.state = c.state;
  const word = { sending: "Sending", waiting: "Waiting for the server" }[c.state] ?? "Up to date";
  setShape(box.querySelector(".state .shape"), c.state === "waiting" ? "notyet" : "go");
  setText(box.querySelector(".state .word"), word);
  setText(box.querySelector(".words"), c.trouble ? `${c.url}: ${c.trouble}. Nothing is lost: it is sent when the server takes data again.` : c.url);
  const put = (name, text) => setText(box.querySelector(`[data-of="${name}"]`), text);
  put("backlog", `${Math.ceil(c.backlog_bytes / 1000)} kB of the journal`);
  put("last", c.last_success_at ? age((Date.now() - Date.parse(c.last_success_at)) / 1000) : "never");
  put("points", String(c.points));
  put("aside", c.set_aside ? `${c.set_aside}, in ${c.set_aside_file}` : "none");
}

async function look() {
  try {
    const c = await answer("/api/v1/copy");
    if (!c) return; // none is configured: it stays hidden
    show(c);
  } catch (e) {
    if (!box.hidden) setText(box.querySelector(".words"), e.message);
  }
  setTimeout(look, EVERY);
}
look();
