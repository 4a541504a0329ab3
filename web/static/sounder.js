// The sounder: records or takes a recording, lets the station hear it, shows the
// strip with its grouping, and keeps the height as a flight. Whatever the browser can
// play is made a plain recording here, so that the station needs no converter.
import { say } from "./units.js";
import { answer, change, make, setText } from "./dom.js";
import { drawTone } from "./tone.js";

const RATE = 16000; // samples a second: twice the highest tone and more
const LONGEST = 120; // s
const $ = (id) => document.getElementById(id);
const state = (text) => setText($("state"), text);
const token = document.querySelector('meta[name="padlark-token"]')?.content ?? "";
let heardAt = null;

/** wav is a recording of one channel, 16 bits (RIFF WAVE). */
function wav(samples) {
  const v = new DataView(new ArrayBuffer(44 + 2 * samples.length));
  const text = (at, s) => [...s].forEach((c, i) => v.setUint8(at + i, c.charCodeAt(0)));
  text(0, "RIFF"); v.setUint32(4, 36 + 2 * samples.length, true); text(8, "WAVEfmt ");
  v.setUint32(16, 16, true); v.setUint16(20, 1, true); v.setUint16(22, 1, true);
  v.setUint32(24, RATE, true); v.setUint32(28, 2 * RATE, true); v.setUint16(32, 2, true); v.setUint16(34, 16, true);
  text(36, "data"); v.setUint32(40, 2 * samples.length, true);
  samples.forEach((x, i) => v.setInt16(44 + 2 * i, Math.max(-1, Math.min(1, x)) * 32767, true));
  return v.buffer;
}

/** hear sends a recording, in whatever form the browser can play. */
async function hear(bytes) {
  $("tones").replaceChildren();
  state(say("Listening…"));
  try {
    const decoded = await new OfflineAudioContext(1, 1, RATE).decodeAudioData(bytes);
    const seconds = Math.min(LONGEST, decoded.duration);
    const mix = new OfflineAudioContext(1, Math.ceil(seconds * RATE), RATE);
    const source = mix.createBufferSource();
    source.buffer = decoded;
    source.connect(mix.destination);
    source.start();
    const samples = (await mix.startRendering()).getChannelData(0);
    const tones = await answer("/api/v1/sounder?layout=" + encodeURIComponent($("layout").value), {
      method: "POST", headers: { "Content-Type": "audio/wav", "X-Padlark-Token": token }, body: wav(samples),
    });
    state(say(tones.length ? "{n} s heard." : "{n} s heard, and no tone in it. Go nearer to the rocket and record two repeats.", { n: Math.round(seconds) }));
    tones.forEach(show);
  } catch (err) {
    state(err.name === "EncodingError" ? say("This browser cannot play that file: choose a recording, such as WAV, M4A or MP3.") : err.message);
  }
}

function show(tone) {
  const el = $("t-tone").content.firstElementChild.cloneNode(true);
  setText(el.querySelector("h2"), tone.sure ? `${tone.number} ${tone.unit}` : say("Not sure"));
  el.classList.add(tone.sure ? "good" : "look");
  setText(el.querySelector(".words"), tone.words);
  const strip = el.querySelector(".strip");
  strip.setAttribute("aria-label", say("What was heard, and how it is grouped: {words}", { words: tone.words }));
  strip.append(drawTone(tone));
  const keep = el.querySelector(".keep");
  keep.hidden = !tone.sure;
  keep.querySelector("button").addEventListener("click", () => keepIt(tone, keep));
  $("tones").append(el);
}

async function keepIt(tone, keep) {
  const status = keep.querySelector("[role=status]");
  const button = keep.querySelector("button");
  button.disabled = true;
  try {
    const kept = await change("/api/v1/sounder/keep", { layout: $("layout").value, rocket: keep.querySelector(".rocket").value, strip: tone.strip, at: heardAt ?? new Date().toISOString() });
    status.replaceChildren(`${say("Kept.")} `, make("a", say("Look at the flight"), { href: kept.page }));
  } catch (err) {
    button.disabled = false;
    setText(status, err.message);
  }
}

/** record takes the microphone as it is: what a browser does for voices would take
 *  the beeps for noise. */
async function record() {
  const button = $("record");
  try {
    const stream = await navigator.mediaDevices.getUserMedia({ audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false } });
    const recorder = new MediaRecorder(stream);
    const parts = [];
    const begun = performance.now();
    heardAt = new Date().toISOString();
    recorder.addEventListener("dataavailable", (e) => parts.push(e.data));
    const tick = setInterval(() => {
      const s = Math.round((performance.now() - begun) / 1000);
      state(say("Recording: {n} s. Stop after two or three repeats.", { n: s }));
      if (s >= LONGEST) recorder.stop();
    }, 250);
    recorder.addEventListener("stop", async () => {
      clearInterval(tick);
      stream.getTracks().forEach((t) => t.stop());
      button.onclick = record;
      setText(button, say("Record with this microphone"));
      hear(await new Blob(parts).arrayBuffer());
    });
    recorder.start();
    setText(button, say("Stop and read"));
    button.onclick = () => recorder.stop();
  } catch (err) {
    state(say("The microphone cannot be used ({why}): choose a recording instead.", { why: err.message }));
  }
}

/** beep plays a number. */
async function beep(event) {
  event.preventDefault();
  setText($("teach-state"), "");
  try {
    const reply = await fetch(`/api/v1/sounder/beep?layout=${encodeURIComponent($("layout").value)}&number=${encodeURIComponent($("number").value)}`);
    if (!reply.ok) throw new Error((await reply.json()).hint);
    const audio = new AudioContext();
    const source = audio.createBufferSource();
    source.buffer = await audio.decodeAudioData(await reply.arrayBuffer());
    source.connect(audio.destination);
    source.addEventListener("ended", () => audio.close());
    source.start();
    setText($("teach-state"), say("{n} s of sound", { n: Math.round(source.buffer.duration) }));
  } catch (err) {
    setText($("teach-state"), err.message);
  }
}

if ($("sounder")) {
  $("teach").addEventListener("submit", beep);
  if ($("file")) {
    const canRecord = !!navigator.mediaDevices?.getUserMedia && !!window.MediaRecorder;
    $("record").hidden = !canRecord;
    $("plain").hidden = canRecord;
    $("record").onclick = record;
    $("file").addEventListener("change", async (e) => {
      const file = e.target.files[0];
      if (!file) return;
      heardAt = new Date(file.lastModified).toISOString();
      hear(await file.arrayBuffer());
    });
  }
}
