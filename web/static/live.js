// The live stream as a page sees it: one EventSource that is opened again when
// it ends, and the answer to "how old is what I show".

/** STALE is after how many ms without news a page must say so. The station
 *  sends something at least each 250 ms, and 2 s is what we promise. */
export const STALE = 1500;
const REOPEN = 1000;

export class Stream {
  /** path is the stream's address; on has hello(h), update(u) and end(). */
  constructor(path, on) {
    this.path = path;
    this.on = on;
    this.speed = 1;
    this.heard = performance.now(); // when the last message came
    this.offset = null; // station time minus page time, ms
    this.open();
  }

  open() {
    this.close();
    this.ended = false;
    this.offset = null;
    this.source = new EventSource(this.path);
    this.source.addEventListener("hello", (e) => {
      const h = JSON.parse(e.data);
      this.speed = h.replay ? h.replay.speed : 1;
      this.mark(h.now);
      this.on.hello(h);
    });
    this.source.addEventListener("update", (e) => {
      const u = JSON.parse(e.data);
      this.mark(u.now);
      this.on.update(u);
    });
    this.source.addEventListener("end", (e) => {
      this.ended = true;
      this.speed = 0; // time stands still at the end of a replay
      this.offset = Date.parse(JSON.parse(e.data).now);
      this.close();
      this.on.end?.();
    });
    this.source.addEventListener("error", () => {
      // The browser tries again by itself unless the answer was a refusal.
      if (this.source?.readyState === EventSource.CLOSED) {
        this.close();
        this.timer = setTimeout(() => this.open(), REOPEN);
      }
    });
  }

  close() {
    clearTimeout(this.timer);
    this.source?.close();
    this.source = null;
  }

  /** mark keeps the largest offset seen lately: the message that was least
   *  delayed on its way tells the station's time best. */
  mark(now) {
    const t = performance.now();
    const offset = Date.parse(now) - t * this.speed;
    this.heard = t;
    if (this.offset === null || offset > this.offset || Math.abs(offset - this.offset) > 5000) this.offset = offset;
    else this.offset -= (this.offset - offset) * 0.001; // clocks drift apart
  }

  /** now is the station's time, in Unix ms; null before the first message. */
  now() {
    return this.offset === null ? null : this.offset + performance.now() * this.speed;
  }

  /** silence is how long nothing has come, in ms. */
  silence() {
    return performance.now() - this.heard;
  }

  stale() {
    return !this.ended && this.silence() > STALE;
  }
}
