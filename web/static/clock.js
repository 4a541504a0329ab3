// The clock: how far apart the station's and the browser's clocks are, and the
// offer to put the station right.
import { answer, change, setText } from "./dom.js";
import { clock, date, fixed, say } from "./units.js";
import { setShape } from "./shapes.js";

const TRIES = 8;
let best = null; // { offset, half, session, truth }: the shortest round trip

/** measure asks the station's time. The answer was given between asking and
 *  hearing; half the round trip bounds the error (F. Cristian, 1989). */
async function measure() {
  const before = Date.now();
  const t0 = performance.now();
  const status = await answer("/api/v1/time");
  const round = performance.now() - t0;
  const truth = before + round / 2;
  const one = { offset: truth - Date.parse(status.now), half: round / 2, session: status.now, truth, status };
  if (!best || one.half < best.half) best = one;
  return one;
}

function show() {
  if (!best) return; // it is being measured anew
  const station = Date.now() - best.offset;
  const put = (name, ms) => {
    setText(document.getElementById(name + "-time"), clock(ms));
    setText(document.getElementById(name + "-day"), date(ms));
  };
  put("station", station);
  put("browser", Date.now());
  setText(document.getElementById("difference"), apart(best.offset));
  setText(document.getElementById("difference-sd"), say("measured to ± {n} ms", { n: fixed(Math.max(1, best.half), 0) }));
}

/** trust says what the station thinks of its own clock now. */
function trust(status) {
  const line = document.querySelector(".clock-state");
  line.className = "clock-state " + (status.trusted ? "good" : "look");
  setShape(line.querySelector(".shape"), status.trusted ? "good" : "look");
  setText(line.querySelector(".words"), `${say(status.trusted ? "The station's clock is trusted" : "The station's clock is not trusted")}: ${status.how}.`);
  if (status.trusted) for (const el of document.querySelectorAll(".doubt")) el.remove();
}

function apart(ms) {
  const s = Math.abs(ms) / 1000;
  if (s < 0.5) return say("less than 0.5 s");
  const words = s < 120 ? `${fixed(s, 1)} s` : s < 7200 ? `${fixed(s / 60, 0)} min` : s < 172800 ? `${fixed(s / 3600, 1)} h` : say("{n} days", { n: fixed(s / 86400, 0) });
  return say(ms > 0 ? "station behind by {time}" : "station ahead by {time}", { time: words });
}

async function begin() {
  for (let i = 0; i < TRIES; i++) await measure();
  show();
  setInterval(show, 250);
  const offer = document.getElementById("offer");
  if (!offer) return;
  offer.disabled = false;
  offer.addEventListener("click", async () => {
    const status = document.getElementById("offer-status");
    offer.disabled = true;
    try {
      await change("/api/v1/time", {
        session_time: best.session,
        true_time: new Date(best.truth).toISOString(),
        sd_s: Math.max(0.001, best.half / 1000),
      });
      setText(status, say("The station took it."));
      best = null;
      for (let i = 0; i < TRIES; i++) await measure();
      show();
      trust(best.status);
    } catch (err) {
      setText(status, say("Not taken: {why}", { why: err.message }));
    } finally {
      offer.disabled = false;
    }
  });
}

begin().catch((err) => setText(document.getElementById("difference"), err.message));
