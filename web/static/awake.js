// Keeps a phone's screen on and shakes it. Where the browser has a lock for the
// screen (by TLS only) that is taken; elsewhere a picture of one point and a
// silent tone run as a video, and a screen that plays one does not go dark. Both
// need a tap first, and the tap for the sound is that.

const SHAKE = [400, 150, 400, 150, 400];

let video = null;
let lock = null;
let wanted = false;

/** awake keeps the screen on from now on, or no more; context is the sound's. */
export async function awake(on, context) {
  wanted = on;
  if (!on) {
    video?.pause();
    await lock?.release();
    return;
  }
  if (await locked()) return;
  video ??= film(context);
  await video.play();
}

async function locked() {
  try {
    lock = await navigator.wakeLock.request("screen");
    return true;
  } catch {
    return false; // no TLS, or the battery is low: the video it is
  }
}

/** film is a video without end, made here: nothing is fetched. */
function film(context) {
  const canvas = document.createElement("canvas");
  canvas.width = canvas.height = 2;
  const ctx = canvas.getContext("2d");
  let n = 0;
  setInterval(() => {
    ctx.fillStyle = n++ % 2 ? "#000" : "#111"; // a picture that stands still may end the video
    ctx.fillRect(0, 0, 2, 2);
  }, 1000);
  const stream = canvas.captureStream(1);
  const silent = context.createMediaStreamDestination();
  const gain = context.createGain();
  gain.gain.value = 0;
  const tone = context.createOscillator();
  tone.connect(gain).connect(silent);
  tone.start();
  for (const track of silent.stream.getTracks()) stream.addTrack(track);
  const el = document.createElement("video");
  el.className = "awake";
  el.setAttribute("playsinline", "");
  el.setAttribute("aria-hidden", "true");
  el.tabIndex = -1;
  el.srcObject = stream;
  document.body.append(el);
  return el;
}

// A lock ends when the page is out of sight, and some browsers pause a video then.
document.addEventListener("visibilitychange", () => {
  if (!wanted || document.visibilityState !== "visible") return;
  if (lock) locked();
  else video?.play().catch(() => {}); // the next tap starts it again
});

/** shake lets a phone that can shake do so. */
export const shake = () => navigator.vibrate?.(SHAKE);
