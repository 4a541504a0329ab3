// What a link may be sending: asked of the station, shown beside one frame as it
// came, with the text that the configuration needs.
import { say } from "./units.js";
import { answer, clone, make, setText } from "./dom.js";
import { hexLines, printable } from "./frames.js";

const $ = (id) => document.getElementById(id);

/** guess asks the station what a link may be sending, and shows it. */
export async function guess(link) {
  setText($("guess-name"), link);
  setText($("guess-state"), say("Looking at what came in…"));
  for (const id of ["guess-points", "guess-frames", "guess-asks"]) $(id).replaceChildren();
  $("guess-config").hidden = true;
  $("guess").hidden = false;
  $("guess").scrollIntoView({ block: "start" });
  try {
    show(await answer(`/api/v1/links/${encodeURIComponent(link)}/guess`));
  } catch (err) {
    setText($("guess-state"), err.message);
  }
}

function show(g) {
  if (g.none) {
    setText($("guess-state"), say("No guess: {why}.", { why: g.none }));
    return;
  }
  setText($("guess-state"), say("A proposal that reads {n} of {all} frames heard. A number alone does not say what it measures: look at each line.", { n: g.read, all: g.heard }));
  $("guess-points").replaceChildren(...(g.points ?? []).map((p) => {
    const div = make("div");
    div.append(make("dt", `${p.what}, ${p.sure}`), make("dd", p.value));
    if (p.why) div.title = p.why;
    return div;
  }));
  const frames = g.frames ?? [];
  $("guess-frames").replaceChildren(...frames.map((f) => frame(f, frames.length > 1)));
  $("guess-asks").replaceChildren(...(g.asks ?? []).map((q) => make("li", q)));
  const text = $("guess-text");
  text.value = g.config;
  text.rows = Math.min(24, g.config.split("\n").length);
  $("guess-config").hidden = false;
  setText($("guess-copied"), "");
}

function frame(f, several) {
  const el = clone("t-guess");
  setText(el.querySelector("h3"), several ? say("One frame of {layout}, as it came", { layout: f.layout }) : say("One frame, as it came"));
  const text = printable(f.hex);
  setText(el.querySelector("pre"), text.includes("·") ? hexLines(f.hex) : text);
  const wrap = el.querySelector(".table-wrap");
  wrap.setAttribute("aria-label", say("Fields of {layout}", { layout: f.layout }));
  if (!f.columns?.length) {
    wrap.replaceWith(make("p", f.decoded));
    return el;
  }
  el.querySelector("tbody").append(...f.columns.map((c) => {
    const tr = make("tr");
    const is = make("td");
    if (c.name) is.append(make("b", c.name.replaceAll("_", "_\u200b")), ` ${c.value}`);
    else is.append(make("span", say("passed over"), { class: "quiet" }));
    const sure = make("td");
    sure.append(make("b", c.sure), c.why ? `: ${c.why}` : "", c.name ? `; ${c.use ? say("used for {what}", { what: c.use }) : say("kept, not used")}` : "");
    if (c.ask) sure.append(make("p", c.ask, { class: "ask" }));
    tr.append(make("td", c.raw, { class: "as-came" }), is, sure);
    return tr;
  }));
  return el;
}

$("guess-copy").addEventListener("click", async () => {
  const text = $("guess-text");
  try {
    await navigator.clipboard.writeText(text.value); // only where the page came by TLS
    setText($("guess-copied"), say("Copied."));
  } catch {
    text.focus();
    text.select();
    setText($("guess-copied"), document.execCommand("copy") ? say("Copied.") : say("It is selected: copy it with the phone's or browser's own menu."));
  }
});
