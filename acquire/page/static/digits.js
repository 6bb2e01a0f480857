// A value as large as its box allows, and texts as large as theirs. Digits are our own, so that 40 mm are 40 mm whatever
// fonts a machine has: every digit is bent from one wire, a sign is [width, path] in a box 100 high. All other text is
// the browser's, shaped as its script wants, and sized in units of its container.

import { el, svg } from "./dom.js";

const SIGNS = {
  0: [60, "M7 30A23 23 0 0 1 53 30V70A23 23 0 0 1 7 70Z"],
  1: [60, "M13 27L34 7V93M15 93H53"],
  2: [60, "M8 28A22 21 0 0 1 52 28C52 50 8 66 8 93H53"],
  3: [60, "M9 20C18 2 50 4 50 27C50 41 40 47 26 47C44 47 53 56 53 69C53 98 14 99 7 79"],
  4: [60, "M38 7L7 68H54M42 42V93"],
  5: [60, "M50 7H14L11 46C22 34 53 34 53 64C53 98 15 98 7 80"],
  6: [60, "M44 7C22 24 7 46 7 67A23 26 0 0 0 53 67A23 26 0 0 0 7 67"],
  7: [60, "M7 7H53L25 93"],
  8: [60, "M30 47C15 47 10 36 10 27A20 20 0 0 1 50 27C50 36 45 47 30 47C13 47 7 58 7 69A23 24 0 0 0 53 69C53 58 47 47 30 47Z"],
  9: [60, "M16 93C38 76 53 54 53 33A23 26 0 0 0 7 33A23 26 0 0 0 53 33"],
  "-": [56, "M10 50H46"],
  "−": [56, "M10 50H46"],
  "+": [60, "M9 50H51M30 29V71"],
  ".": [24, "M12 91V92"],
};
const GAP = 12;
const UNIT_HIGH = 58;

/** A value with its unit, as one drawing that fills its box. `label` is what a screen reader says; `bold` a thicker wire. */
export function valueDrawn(value, unit, label, bold) {
  const digits = svg("g", { class: "digits", "stroke-width": bold ? 15 : 10 });
  let at = 0;
  for (const sign of value.replace(/\s/g, "")) {
    const [width, path] = SIGNS[sign] ?? SIGNS["-"];
    digits.append(svg("path", { d: path, transform: `translate(${at} 0)`, "stroke-width": sign === "." ? 19 : null }));
    at += width + GAP;
  }
  const wide = at + (unit ? GAP + wideOf(unit) * UNIT_HIGH : -GAP);
  return svg("svg", { class: "wire", viewBox: `-8 0 ${wide + 16} 100`, role: "img", "aria-label": label }, digits,
    unit ? svg("text", { x: at + GAP, y: 93, "font-size": UNIT_HIGH }, unit) : null);
}

let family = "";
const ruler = document.createElement("canvas").getContext("2d");

/** How wide a text is in bold, in times its font's size. */
export function wideOf(text) {
  family ||= getComputedStyle(document.body).fontFamily;
  ruler.font = `700 100px ${family}`;
  return ruler.measureText(text).width / 100;
}

/** A text in a box that it fills: in one line where that is larger, else in as many as it needs. */
export function fitted(text, kind = "") {
  const wide = Math.max(wideOf(text) * 1.03, 0.5);
  const word = Math.max(...text.split(/\s+/).map(wideOf)) * 1.03;
  const node = el("span", { class: "fitted" }, text);
  for (const [name, value] of [["--wide", wide], ["--root", Math.sqrt(2.9 * wide)], ["--word", Math.min(word, 9)]]) node.style.setProperty(name, value.toFixed(3));
  return el("div", { class: `fit ${kind}`.trim() }, node);
}

/** "204.41 ± 0.35 Ω" as ["204.41", "Ω", "0.35"]; a text without a number stays whole. */
export function parts(text) {
  const found = /^\s*([-−+]?[0-9][0-9.\s]*)(?:± (\S+))?\s*(\S*)\s*$/.exec(text ?? "");
  return found ? [found[1].trim(), found[3], found[2] ?? ""] : [null, text ?? "", ""];
}
