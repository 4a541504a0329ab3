// The copy to a time-series server and the way to an outside one: is all sent, and
// if not, why.
import { answer, setText } from "./dom.js";
import { setShape } from "./shapes.js";
import { age, say } from "./units.js";

const EVERY = 5000; // ms

function show(box, c, more) {
  box.hidden = false;
  box.dataset.state = c.state;
  const word = say({ sending: "Sending", waiting: "Waiting for the server" }[c.state] ?? "Up to date");
  setShape(box.querySelector(".state .shape"), c.state === "waiting" ? "notyet" : "go");
  setText(box.querySelector(".state .word"), word);
  setText(box.querySelector(".words"), c.trouble ? `${c.url}: ${c.trouble}. ${say("Nothing is lost: it is sent when the server takes data again.")}` : c.url);
  const put = (name, text) => setText(box.querySelector(`[data-of="${name}"]`), text);
  put("backlog", say("{n} kB of the journal", { n: Math.ceil(c.backlog_bytes / 1000) }));
  put("last", c.last_success_at ? age((Date.now() - Date.parse(c.last_success_at)) / 1000) : say("never"));
  more(put, c);
}

async function look(name, more) {
  const box = document.getElementById(name);
  try {
    const c = await answer(`/api/v1/${name}`);
    if (!c) return; // none is configured: it stays hidden
    show(box, c, more);
  } catch (e) {
    if (!box.hidden) setText(box.querySelector(".words"), e.message);
  }
  setTimeout(look, EVERY, name, more);
}
look("copy", (put, c) => {
  put("points", String(c.points));
  put("aside", c.set_aside ? say("{n}, in {file}", { n: c.set_aside, file: c.set_aside_file }) : say("none"));
});
look("uplink", (put, c) => put("frames", String(c.frames)));
