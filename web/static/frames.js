// Raw frames in hex beside what the decoder made of them.
import { make } from "./dom.js";
import { fine, say } from "./units.js";

/** hexLines groups hex digits: pairs apart, sixteen bytes to a line. */
export function hexLines(hex) {
  const pairs = hex.match(/../g) ?? [];
  const lines = [];
  for (let i = 0; i < pairs.length; i += 16) lines.push(pairs.slice(i, i + 16).join(" "));
  return lines.join("\n");
}

/** printable shows hex digits as ASCII, a middle dot for what has no glyph. */
export const printable = (hex) => (hex.match(/../g) ?? []).map((h) => {
  const c = parseInt(h, 16);
  return c >= 0x20 && c < 0x7f ? String.fromCharCode(c) : "·";
}).join("");

/** valueWords writes what was decoded: whose it is, then "name value" each. */
export function valueWords(frame) {
  if (!frame.channels) return say("not decoded");
  const words = [frame.rocket];
  if (frame.seq !== null) words.push(say("frame {n} of the board", { n: frame.seq }));
  if (frame.clock_us !== null) words.push(say("board clock {s} s", { s: (frame.clock_us / 1e6).toFixed(3) }));
  const values = Object.entries(frame.channels).map(([name, v]) => `${name} ${Number(v.toPrecision(9))}`);
  return `${words.join(", ")}\n${values.join(" · ")}`;
}

/** frameRow is one line of a table of frames. */
export function frameRow(f, chosen = false) {
  const tr = make("tr", "", chosen ? { class: "chosen", "aria-current": "true" } : {});
  const heard = fine(Date.parse(f.heard));
  const bytes = make("td");
  bytes.append(make("pre", hexLines(f.hex)), make("pre", f.text || printable(f.hex), { class: "quiet ascii" }));
  const decoded = make("td");
  decoded.append(make("pre", valueWords(f), f.channels ? {} : { class: "missing" }));
  tr.append(make("td", String(f.n), { class: "n" }), make("td", heard), bytes, decoded);
  return tr;
}

/** showFrames fills a table; the frame heard nearest to `at` is marked. */
export function showFrames(host, list, at) {
  if (list.length === 0) {
    host.replaceChildren(make("p", say("No frame of this rocket was heard within 2 s of this instant."), { class: "nothing" }));
    return;
  }
  let best = 0;
  list.forEach((f, i) => {
    if (Math.abs(Date.parse(f.heard) - at) < Math.abs(Date.parse(list[best].heard) - at)) best = i;
  });
  const table = make("table", "", { class: "raw" });
  const head = make("tr");
  for (const name of ["No.", "Heard", "Bytes", "Decoded"]) head.append(make("th", say(name), { scope: "col" }));
  const body = make("tbody");
  const from = Math.max(0, best - 4);
  list.slice(from, best + 5).forEach((f, i) => body.append(frameRow(f, from + i === best)));
  const thead = make("thead");
  thead.append(head);
  table.append(thead, body);
  host.replaceChildren(table);
}
