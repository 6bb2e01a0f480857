// Builds elements. Texts go in as text only: nothing of the data is ever read as markup.

const SVG = "http://www.w3.org/2000/svg";

/** An HTML element: el("p", {class: "x", on: {click: f}}, "text", child, ...). Null children are left out. */
export function el(tag, props, ...children) {
  return fill(document.createElement(tag), props, children);
}

/** An SVG element, made the same way. */
export function svg(tag, props, ...children) {
  return fill(document.createElementNS(SVG, tag), props, children);
}

function fill(node, props, children) {
  for (const [name, value] of Object.entries(props ?? {})) {
    if (value === null || value === undefined || value === false) continue;
    if (name === "on") {
      for (const [event, does] of Object.entries(value)) node.addEventListener(event, does);
    } else {
      node.setAttribute(name, value === true ? "" : String(value));
    }
  }
  for (const child of children.flat()) {
    if (child === null || child === undefined || child === false) continue;
    node.append(child instanceof Node ? child : String(child));
  }
  return node;
}

const shown = new WeakMap();

/** Fills a node again only if `what` has changed since the last time: nothing is drawn twice. */
export function part(node, what, build) {
  const key = JSON.stringify(what ?? null);
  if (shown.get(node) === key) return;
  shown.set(node, key);
  node.replaceChildren(...[build(what)].flat().filter(Boolean));
}

/** Forgets what a node shows, so that the next `part` fills it in any case. */
export function forget(node) {
  shown.delete(node);
}

/** Sets a text only where it differs. */
export function say(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

/** A pair of pins as it is written: "1–2". */
export const pairText = (pair) => (pair ? pair.join("–") : "");

/** Seconds as "1:05" or "2:03:04". */
export function clock(seconds) {
  const left = Math.max(0, Math.ceil(seconds));
  const two = (n) => String(n).padStart(2, "0");
  const [h, m, s] = [Math.floor(left / 3600), Math.floor(left / 60) % 60, left % 60];
  return h ? `${h}:${two(m)}:${two(s)}` : `${m}:${two(s)}`;
}
