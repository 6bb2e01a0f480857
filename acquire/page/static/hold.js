// A button that has to be held. Letting go, leaving it or losing the window starts from nothing again.

import { el } from "./dom.js";

const HOLD_S = 2;

/** `done` is called after it was held for two seconds without a break. */
export function holdButton(label, done) {
  const fill = el("span", { class: "fill" });
  const text = el("span", {}, label);
  let since = null;
  let timer = null;
  const stop = () => {
    clearTimeout(timer);
    since = null;
    fill.style.width = "0";
    text.textContent = label;
  };
  const step = () => {
    if (!button.isConnected) return stop();
    const share = (performance.now() - since) / (1000 * HOLD_S);
    if (share >= 1) {
      stop();
      return done();
    }
    fill.style.width = `${Math.round(100 * share)}%`;
    timer = setTimeout(step, 100);
  };
  const begin = () => {
    if (since !== null) return;
    since = performance.now();
    text.textContent = "Keep holding …";
    step();
  };
  const key = (event) => event.key === " " || event.key === "Enter";
  const button = el("button", { type: "button", class: "hold", on: {
    pointerdown: (event) => event.button === 0 && begin(), pointerup: stop, pointerleave: stop, pointercancel: stop, blur: stop, contextmenu: (event) => event.preventDefault(),
    keydown: (event) => {
      if (!key(event)) return;
      event.preventDefault();
      if (!event.repeat) begin();
    },
    keyup: (event) => key(event) && stop(),
  } }, fill, text);
  return button;
}
