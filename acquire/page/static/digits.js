// Draws a value or a pin's name in our lettering, as one SVG whose height the style sheet sets.

import { svg } from "./dom.js";
import { SIGNS, WIRE } from "./letters.js";

const GAP = 12;

/** Signs of a text beside each other. `label` is what a screen reader says, nothing where it is empty; `wire` the thickness in hundredths of the height. */
export function lettering(text, { label = text, kind = "", wire = WIRE } = {}) {
  const about = label ? { role: "img", "aria-label": label } : { "aria-hidden": "true" };
  const whole = svg("svg", { class: `wire ${kind}`.trim(), ...about, "stroke-width": wire, preserveAspectRatio: "xMinYMax meet" });
  let at = 0;
  for (const sign of text) {
    const [width, path] = SIGNS[sign] ?? [58, null];
    if (path === null) whole.append(svg("text", { x: at + width / 2, y: 93, class: "wire-other" }, sign));
    else if (path) whole.append(svg("path", { d: path, transform: `translate(${at} 0)`, ...(sign === "." ? { "stroke-width": 19 } : {}) }));
    at += width + GAP;
  }
  whole.setAttribute("viewBox", `0 0 ${Math.max(at - GAP, 1)} 100`);
  return whole;
}

/** "204.41 Ω" as ["204.41", "Ω"]; a text without a number stays whole. */
export function parts(text) {
  const found = /^\s*([-−+]?[0-9][0-9.\s]*)\s*(\S*)\s*$/.exec(text ?? "");
  return found ? [found[1].trim(), found[2]] : [null, text ?? ""];
}
