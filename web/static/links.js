// Links: is anything heard, what is wrong with it, and the bytes themselves.
import { Stream } from "./live.js";
import { apart, clone, make, mayChange, setText, setClass } from "./dom.js";
import { setShape } from "./shapes.js";
import { age, clock, fixed, known, say } from "./units.js";
import { unreadable } from "./picture.js";
import { guess } from "./guess.js";
import { frameRow, hexLines, printable } from "./frames.js";

const KEEP = 40; // raw frames on the page
const list = document.getElementById("links");
const cards = new Map();
const healths = new Map();
let chosen = new URLSearchParams(location.search).get("link") ?? "";
let held = false;
let stream = null;
let seen = new Map();

function open() {
  stream?.close();
  const path = "/api/v1/live?changes=1&hz=5" + (chosen ? `&frames=${encodeURIComponent(chosen)}` : "");
  if (stream) {
    stream.path = path;
    stream.open();
    return;
  }
  stream = new Stream(path, { hello: () => {}, update });
  window.links = stream;
}

function update(u) {
  for (const h of u.links ?? []) {
    apart("a link", () => {
      const all = { ...healths.get(h.link), ...h };
      healths.set(h.link, all);
      show(all);
    });
  }
  document.getElementById("no-links").hidden = healths.size > 0;
  if (!chosen && healths.size > 0) choose([...healths.keys()].sort()[0]);
  if (u.frames && !held) raw(u.frames);
  if (u.frames) setText(document.getElementById("left"), u.left ? say("{all} came in the last fifth of a second, {n} are shown", { all: u.left + u.frames.length, n: u.frames.length }) : "");
}

function show(h) {
  let card = cards.get(h.link);
  if (!card) {
    card = clone("t-link");
    cards.set(h.link, card);
    setText(card.querySelector(".name"), h.link);
    card.querySelector(".show").addEventListener("click", () => {
      choose(h.link);
      document.getElementById("watch").scrollIntoView({ block: "nearest" });
    });
    card.querySelector(".guess").addEventListener("click", () => guess(h.link));
    chosenCard(card, h.link);
    [...cards.keys()].sort().forEach((name) => list.append(cards.get(name)));
  }
  const state = unreadable(h) ? "unreadable" : h.state;
  card.dataset.state = state;
  setShape(card.querySelector(".state .shape"), { up: "go", waiting: "notyet", down: "bad", unreadable: "notyet" }[state] ?? "unheard");
  setText(card.querySelector(".state .word"), say({ up: "Open", waiting: "Waiting", down: "Closed", unreadable: "Not readable" }[state] ?? state));
  setText(card.querySelector(".words"), [h.words, h.hint].filter(Boolean).join(". "));
  facts(card.querySelector(".facts"), h);
  // Offered where something is not read: all of it, or the frames of a second board.
  card.querySelector(".guess").hidden = !mayChange() || h.bytes === 0 || state !== "unreadable" && Object.values(h.bad ?? {}).every((n) => n === 0);
  if (h.link === chosen) rejected(h);
}

function facts(dl, h) {
  const bad = Object.entries(h.bad ?? {}).filter(([, n]) => n > 0).sort((a, b) => b[1] - a[1]);
  const now = stream.now();
  const rows = [
    [say("frames/s"), known(h.rate_hz) ? fixed(h.rate_hz, 1) : "–"],
    [say("good frames"), String(h.frames - (h.refused ?? 0))],
    [say("missing"), String(h.gaps)],
    [say("unknown ids"), String(h.guests ?? 0)],
    [say("bytes"), String(h.bytes)],
    [say("last heard"), h.last_heard ? age((now - Date.parse(h.last_heard)) / 1000) : say("never")],
    [say("came back"), h.restarts === 1 ? say("once") : say("{n} times", { n: h.restarts })],
    [say("refused"), bad.length ? bad.map(([why, n]) => `${n} ${why}`).join(", ") : say("none")],
  ];
  while (dl.children.length < rows.length) {
    const div = make("div");
    div.append(make("dt"), make("dd"));
    dl.append(div);
  }
  rows.forEach(([name, value], i) => {
    setText(dl.children[i].children[0], name);
    setText(dl.children[i].children[1], value);
    setClass(dl.children[i], "missing", i === rows.length - 1 && bad.length > 0);
  });
}

function choose(link) {
  chosen = link;
  seen = new Map();
  document.getElementById("raw").replaceChildren();
  document.getElementById("watch").hidden = false;
  setText(document.getElementById("watch-name"), link);
  for (const [name, card] of cards) chosenCard(card, name);
  if (healths.has(link)) rejected(healths.get(link));
  open();
}

function chosenCard(card, name) {
  setClass(card, "chosen", name === chosen);
  card.querySelector(".show").setAttribute("aria-pressed", String(name === chosen));
  setText(card.querySelector(".show"), say(name === chosen ? "Its frames are below" : "Show its frames"));
}

/** raw adds frames at the top; one that was not decoded yet is replaced. */
function raw(frames) {
  const body = document.getElementById("raw");
  for (const f of frames.slice(-KEEP)) {
    const row = frameRow(f);
    const old = seen.get(f.n);
    if (old) old.replaceWith(row);
    else body.prepend(row);
    seen.set(f.n, row);
  }
  while (body.children.length > KEEP) body.lastElementChild.remove();
  if (seen.size > 4 * KEEP) seen = new Map([...seen].filter(([, row]) => row.isConnected));
}

function rejected(h) {
  if (held) return;
  const body = document.getElementById("rejected");
  const key = JSON.stringify(h.rejected ?? []);
  if (body.dataset.key === key) return;
  body.dataset.key = key;
  const rows = [...(h.rejected ?? [])].reverse().map((r) => {
    const tr = make("tr");
    const td = make("td");
    td.append(make("pre", printable(r.hex), { class: "ascii" }), make("pre", hexLines(r.hex) + (r.length > r.hex.length / 2 ? `\n${say("and {n} bytes more", { n: r.length - r.hex.length / 2 })}` : "")));
    tr.append(make("td", clock(Date.parse(r.at))), make("td", r.detail ? `${r.reason}: ${r.detail}` : r.reason), td);
    return tr;
  });
  if (rows.length === 0) {
    const tr = make("tr");
    tr.append(make("td", say("Nothing was refused."), { colspan: "3" }));
    rows.push(tr);
  }
  body.replaceChildren(...rows);
}

document.getElementById("hold").addEventListener("click", (e) => {
  held = !held;
  e.target.setAttribute("aria-pressed", String(held));
  setText(e.target, say(held ? "Go on" : "Hold still"));
});
setInterval(() => {
  const el = document.getElementById("stopped");
  el.hidden = !stream.stale();
  if (stream.stale()) setText(el, say("NOT LIVE: no news from the station for {n} s.", { n: Math.floor(stream.silence() / 1000) }));
  for (const h of healths.values()) show(h); // the ages go on
}, 500);
open();
const asked = new URLSearchParams(location.search).get("guess");
if (asked) guess(asked);
