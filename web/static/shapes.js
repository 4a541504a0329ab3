// State is carried by a shape as well as by a word and a colour. Each shape is
// one path in a 24 by 24 field, drawn in the colour of the text.

const paths = {
  go: "M12 1a11 11 0 1 0 0 22 11 11 0 0 0 0-22zM10.3 17.6 4.9 12.2l2.2-2.2 3.2 3.2 6.7-6.8 2.2 2.2z",
  notyet: "M7.5 1h9L23 7.5v9L16.5 23h-9L1 16.500v-9zM6 10v4h12v-4z",
  unheard: "M12 1a11 11 0 1 0 0 22 11 11 0 0 0 0-22zm0 3a8 8 0 1 1 0 16 8 8 0 0 1 0-16zM10.500 7h3v6h-3zM10.500 14.500h3v3h-3z",
  boost: "M12 1 23 17H1zM5 19h14v4H5z",
  coast: "M12 1 23 20H1zM12 6.500 6.500 17h11z",
  fall: "M12 23 1 5h22z",
  canopy: "M12 2C6 2 1 6 1 11h22C23 6 18 2 12 2zM3 12l8 9v2h2v-2l8-9h-2l-6 7v-7h-2v7l-6-7z",
  landed: "M1 19h22v4H1zM4 11h16v6H4z",
  waiting: "M1 19h22v4H1zM12 1l4 6v10H8V7z",
  "alarm-1": "M12 1 24 23H0zM10.500 8v8h3V8zm0 9.500v3h3v-3z",
  "alarm-2": "M12 0l12 12-12 12L0 12zM10.500 6v8h3V6zm0 9.500v3h3v-3z",
  "alarm-3": "M12 1a11 11 0 1 0 0 22 11 11 0 0 0 0-22zM10.500 6h3v3h-3zm0 5h3v8h-3z",
  "sound-on": "M2 8h5l7-6v20l-7-6H2zM17 7c3 2 3 8 0 10zM20 3c5 4 5 14 0 18l-1-2c4-4 4-10 0-14z",
  "sound-off": "M2 8h5l7-6v20l-7-6H2zM16 9l2-2 2 3 2-3 2 2-2 3 2 3-2 2-2-3-2 3-2-2 2-3z",
  stale: "M1 10h5v4H1zM10 10h4v4h-4zM18 10h5v4h-5z",
  replay: "M12 3a9 9 0 1 1-8.500 6h3.200A6 6 0 1 0 12 6v4L5.500 5 12 0z",
  good: "M9 20 1 12l3-3 5 5L20 3l3 3z",
  look: "M12 5C6 5 2 9 0 12c2 3 6 7 12 7s10-4 12-7c-2-3-6-7-12-7zm0 3a4 4 0 1 1 0 8 4 4 0 0 1 0-8z",
  bad: "M5 2l7 7 7-7 3 3-7 7 7 7-3 3-7-7-7 7-3-3 7-7-7-7z",
  up: "M12 1l10 11h-6v11H8V12H2z",
  none: "M2 10h20v4H2z",
};

/** setShape draws a shape into an element, once. */
export function setShape(el, name) {
  if (!el || el.dataset.shape === name) return;
  el.dataset.shape = name;
  const ns = "http://www.w3.org/2000/svg";
  const svg = document.createElementNS(ns, "svg");
  svg.setAttribute("viewBox", "0 0 24 24");
  svg.setAttribute("fill-rule", "evenodd");
  const path = document.createElementNS(ns, "path");
  path.setAttribute("d", paths[name] ?? paths.none);
  path.setAttribute("fill", "currentColor");
  svg.append(path);
  el.replaceChildren(svg);
}
