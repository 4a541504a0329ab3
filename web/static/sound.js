// Tones made in the page, and speech where the browser has a voice. A browser
// lets a page sound only after a person has touched it, so sound is off until
// somebody turns it on, and the button says so.
import { setText } from "./dom.js";
import { setShape } from "./shapes.js";
import { awake, shake } from "./awake.js";
import { say, sayOf } from "./units.js";

const STALE = 2000; // ms: what is older is not said any more
const REPEAT = 2500; // ms between the tones of an alarm that calls for eyes

// Each tone is a list of [frequency in Hz, start in s, length in s]. Pitches lie
// between 500 and 2000 Hz, where small loudspeakers are loud (common practice,
// no source).
const tones = {
  1: [[1800, 0, 0.14], [1200, 0.16, 0.14], [1800, 0.32, 0.14], [1200, 0.48, 0.14], [1800, 0.64, 0.14], [1200, 0.8, 0.14]],
  2: [[1000, 0, 0.2], [750, 0.25, 0.3]],
  3: [[700, 0, 0.15]],
  liftoff: [[600, 0, 0.1], [800, 0.12, 0.1], [1100, 0.24, 0.2]],
  apogee: [[1400, 0, 0.25]],
  release: [[900, 0, 0.1], [900, 0.15, 0.1]],
  touchdown: [[800, 0, 0.12], [500, 0.15, 0.25]],
};

export class Sound {
  constructor(button) {
    this.button = button;
    this.on = false;
    this.lastWarning = 0;
    this.played = 0;
    button.addEventListener("click", () => this.toggle());
    this.tap = document.getElementById("tap"); // asks for the tap at once
    this.tap?.addEventListener("click", () => this.toggle());
    this.show();
  }

  async toggle() {
    if (this.on) {
      this.on = false;
      speechSynthesis?.cancel();
      await awake(false);
      await this.context?.suspend();
      return this.show();
    }
    this.context ??= this.build();
    this.on = true;
    await this.context.resume();
    this.show();
    awake(true, this.context).catch(() => {}); // the sound is on all the same
    this.tone("apogee"); // so that a person hears that it works
  }

  build() {
    const context = new AudioContext();
    // A telephone call or the system may take the sound away.
    context.addEventListener("statechange", () => this.show());
    this.out = context.createGain();
    this.out.gain.value = 0.5;
    this.out.connect(context.destination);
    return context;
  }

  audible() {
    return this.on && this.context?.state === "running";
  }

  show() {
    const on = this.audible();
    const lost = this.on && !on;
    const text = say(on ? "Sound is on" : lost ? "Sound was taken away: tap twice" : "Sound is OFF: tap once");
    setText(this.button.querySelector(".word"), text);
    setText(this.button.querySelector(".short"), say(on ? "on" : lost ? "gone" : "OFF"));
    setShape(this.button.querySelector(".shape"), on ? "sound-on" : "sound-off");
    if (this.tap) this.tap.hidden = on;
    this.button.setAttribute("aria-pressed", String(on));
    this.button.dataset.state = this.context?.state ?? "off";
  }

  tone(name) {
    if (!this.audible() || !tones[name]) return;
    const now = this.context.currentTime;
    for (const [hz, start, length] of tones[name]) {
      const osc = this.context.createOscillator();
      const gain = this.context.createGain();
      osc.type = "square"; // overtones carry outdoors
      osc.frequency.value = hz;
      // Ramps of 8 ms: a square edge would click.
      gain.gain.setValueAtTime(0, now + start);
      gain.gain.linearRampToValueAtTime(0.6, now + start + 0.008);
      gain.gain.setValueAtTime(0.6, now + start + length - 0.008);
      gain.gain.linearRampToValueAtTime(0, now + start + length);
      osc.connect(gain).connect(this.out);
      osc.start(now + start);
      osc.stop(now + start + length);
    }
    this.played++;
    this.button.dataset.played = String(this.played);
    this.button.dataset.last = name;
  }

  /** say speaks; an urgent word stops the one that is being said. */
  say(text, urgent) {
    const synth = window.speechSynthesis;
    if (!this.audible() || !synth || synth.getVoices().length === 0) return;
    if (urgent) synth.cancel();
    else if (synth.speaking || synth.pending) return; // dropped rather than late
    const u = new SpeechSynthesisUtterance(text);
    u.lang = document.documentElement.lang;
    u.rate = 1.1;
    synth.speak(u);
  }

  /** alarm sounds a change of an alarm; stationNow in Unix ms. */
  alarm(a, old, stationNow) {
    const fresh = a.active && !a.acked && !(old?.active && !old.acked);
    if (!fresh || stationNow - Date.parse(a.changed_at) > 10 * STALE) return;
    this.tone(String(a.priority));
    if (a.priority === 1 && this.on) shake();
    if (a.priority === 1) this.lastWarning = performance.now();
    this.say(sayOf(a), a.priority === 1);
  }

  /** event sounds what happened, unless it is old or a warning is sounding. */
  event(e, text, stationNow) {
    if (stationNow - Date.parse(e.called_at) > STALE || performance.now() - this.lastWarning < REPEAT) return;
    this.tone(e.kind);
    this.say(text, false);
  }

  /** remind repeats the warning while somebody still has to look up. */
  remind(list) {
    const urgent = list.find((a) => a.priority === 1 && a.active && !a.acked);
    if (!urgent || performance.now() - this.lastWarning < REPEAT) return;
    this.lastWarning = performance.now();
    this.tone("1");
    if (this.on) shake();
    this.say(sayOf(urgent), true);
  }
}
