// Replay: the same board, fed from a recorded session. A seek or another speed
// opens a new stream; nothing is kept between two of them.
import { Board } from "./board.js";
import { say } from "./units.js";
import { setText, make } from "./dom.js";

const root = document.getElementById("board");
const seek = document.getElementById("seek");
const out = document.getElementById("replay-time");
const play = document.getElementById("play");
const speeds = [...document.querySelectorAll("[data-speed]")];

const length = Number(root.dataset.length);
let speed = 1;
let paused = false;
let at = Math.min(length, Math.max(0, Number(new URLSearchParams(location.search).get("at_s")) || 0));
let dragging = false;
let epoch = null;

const path = () => `${root.dataset.stream}?changes=1&at_s=${at.toFixed(3)}&speed=${paused ? 0 : speed}`;
const board = new Board(root, { path: path(), replay: true });
window.board = board;

board.onHello = (h) => {
  epoch = Date.parse(h.replay.from);
};
board.onUpdate = (u) => {
  if (dragging || epoch === null) return;
  at = Math.min(length, (Date.parse(u.now) - epoch) / 1000);
  show();
};
board.onEnd = () => {
  paused = true;
  show();
};

function reopen() {
  board.stream.path = path();
  board.stream.open();
  show();
}

function show() {
  if (!dragging) seek.value = String(at);
  setText(out, say("{at} of {all}", { at: hms(at), all: hms(length) }));
  setText(play, say(paused ? (at >= length ? "Again" : "Play") : "Pause"));
  play.setAttribute("aria-pressed", String(!paused));
  seek.setAttribute("aria-valuetext", say("{at} of {all}", { at: hms(at), all: hms(length) }));
  for (const b of speeds) b.setAttribute("aria-pressed", String(Number(b.dataset.speed) === speed));
}

function hms(s) {
  const v = Math.max(0, Math.floor(s));
  const two = (n) => String(n).padStart(2, "0");
  return v >= 3600 ? `${Math.floor(v / 3600)}:${two(Math.floor(v / 60) % 60)}:${two(v % 60)}` : `${Math.floor(v / 60)}:${two(v % 60)}`;
}

seek.addEventListener("input", () => {
  dragging = true;
  at = Number(seek.value);
  show();
});
seek.addEventListener("change", () => {
  dragging = false;
  at = Number(seek.value);
  reopen();
});
play.addEventListener("click", () => {
  if (paused && at >= length) at = 0;
  paused = !paused;
  reopen();
});
for (const b of speeds) {
  b.addEventListener("click", () => {
    speed = Number(b.dataset.speed);
    reopen();
  });
}

const marks = JSON.parse(root.dataset.marks || "[]");
const line = document.getElementById("replay-marks");
for (const m of marks) {
  const b = make("button", `${m.rocket} ${say("flight")} ${m.flight}, ${hms(m.at_s)}`, { type: "button", class: "mark" });
  b.addEventListener("click", () => {
    at = Math.max(0, m.at_s - 5);
    reopen();
  });
  line.append(b);
}
show();
