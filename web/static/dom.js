// The few things that every page does with the document. Text goes in as text
// only: nothing here can make markup out of what a frame or a note contains.

/** setText changes an element's text when it differs: cheap to call often. A
 *  text that is there already is changed in place; a new one would make the
 *  browser style and lay out more than the words. */
export function setText(el, text) {
  const node = el.firstChild;
  if (node?.nodeType === Node.TEXT_NODE && !node.nextSibling) {
    if (node.data !== text) node.data = text;
  } else if (el.textContent !== text) el.textContent = text;
}

/** setClass switches one class. */
export function setClass(el, name, on) {
  if (el.classList.contains(name) !== !!on) el.classList.toggle(name, !!on);
}

/** apart does one thing of many: what it throws is counted, shown and reported,
 *  and the others are done all the same. */
export function apart(what, f) {
  try {
    return f();
  } catch (err) {
    window.padlarkTrouble?.(err, what);
  }
}

/** make builds an element with text and attributes. */
export function make(tag, text = "", attributes = {}) {
  const el = document.createElement(tag);
  if (text !== "") el.textContent = text;
  for (const [k, v] of Object.entries(attributes)) el.setAttribute(k, v);
  return el;
}

/** clone takes the first element out of a template. */
export function clone(id) {
  return document.getElementById(id).content.firstElementChild.cloneNode(true);
}

/** answer asks the API; an error carries the station's own words. */
export async function answer(path, options = {}) {
  const reply = await fetch(path, { ...options, headers: { Accept: "application/json", ...options.headers } });
  if (reply.status === 204) return null;
  const body = await reply.json().catch(() => ({}));
  if (!reply.ok) throw new Error([body.error, body.hint].filter(Boolean).join(": ") || `HTTP ${reply.status}`);
  return body;
}

/** change sends a change, with the token that proves it came from our page. */
export function change(path, body) {
  return answer(path, {
    method: "POST",
    headers: { "Content-Type": "application/json", "X-Padlark-Token": meta("padlark-token") },
    body: JSON.stringify(body),
  });
}

const meta = (name) => document.querySelector(`meta[name="${name}"]`)?.content ?? "";

/** mayChange says whether this person is crew. */
export const mayChange = () => meta("padlark-may") === "yes";
