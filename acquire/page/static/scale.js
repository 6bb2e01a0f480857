// A value between its limits with its uncertainty, to scale; and how far a reading still is from rest.

import { svg } from "./dom.js";

const WIDE = 900;
const LEFT = 0.2;
const RIGHT = 0.8;

const SIZES = [[1e9, "GΩ"], [1e6, "MΩ"], [1e3, "kΩ"], [0, "Ω"]];

/** Below a kilo-ohm it is ohm, as in the daemon's own texts: 0.3748 Ω. */
function sizeOf(ohm) {
  const [least, unit] = SIZES.find(([least_ohm]) => Math.abs(ohm) >= least_ohm);
  return [least || 1, unit];
}

/** Resistance as short text; `fine_ohm` is a difference that must still be seen, else four digits are shown. */
export function ohmText(ohm, fine_ohm = 0) {
  if (!Number.isFinite(ohm)) return "–";
  const [size, unit] = sizeOf(ohm);
  const value = ohm / size;
  const digits = fine_ohm > 0 ? 1 - Math.floor(Math.log10(fine_ohm / size)) : 3 - Math.floor(Math.log10(Math.abs(value) || 1));
  const text = value.toFixed(Math.min(Math.max(digits, 0), 9));
  return `${fine_ohm > 0 ? text : text.replace(/(\.\d*?)0+$/, "$1").replace(/\.$/, "")} ${unit}`;
}

/** "99.980 ± 0.012 Ω", both with the digits that the uncertainty deserves. */
export function withReach(ohm, reach_ohm) {
  if (!(reach_ohm > 0)) return ohmText(ohm);
  const [size, unit] = sizeOf(ohm);
  const digits = Math.min(Math.max(1 - Math.floor(Math.log10(reach_ohm / size)), 0), 9);
  return `${(ohm / size).toFixed(digits)} ± ${(reach_ohm / size).toFixed(digits)} ${unit}`;
}

/** Column of a value when the limits stand at fixed places; what lies far outside is kept at the edge. */
export function column(value, lower, upper) {
  const share = LEFT + ((value - lower) / (upper - lower)) * (RIGHT - LEFT);
  return { x: WIDE * Math.min(Math.max(share, 0.025), 0.975), beyond: share < 0.025 ? -1 : share > 0.975 ? 1 : 0 };
}

/** The drawing, or null where there is nothing to draw: no value, or no limits at all. */
export function drawScale(verdict) {
  const value = verdict.value_ohm;
  let { lower_ohm: lower, upper_ohm: upper } = verdict;
  if (!Number.isFinite(value) || (!Number.isFinite(lower) && !Number.isFinite(upper))) return null;
  const oneSided = !Number.isFinite(lower) ? "upper" : !Number.isFinite(upper) ? "lower" : "";
  if (oneSided === "upper") lower = Math.min(0, upper - 2 * Math.abs(upper));
  if (oneSided === "lower") upper = 2 * Math.max(lower, value);
  if (!(upper > lower)) return null;
  const at = (ohm) => column(ohm, lower, upper);
  const reach = Number.isFinite(verdict.expanded_ohm) ? verdict.expanded_ohm : 0;
  return svg("svg", { class: "scale", viewBox: `0 0 ${WIDE} 108`, role: "img", "aria-label": inWords(verdict) },
    svg("path", { class: "allowed", d: `M${at(lower).x} 48H${at(upper).x}` }),
    oneSided === "upper" ? null : wall(at(lower).x, ohmText(lower), "lower limit"),
    oneSided === "lower" ? null : wall(at(upper).x, ohmText(upper), "upper limit"),
    Number.isFinite(verdict.nominal_ohm) && oneSided === "" ? nominal(at(verdict.nominal_ohm).x, ohmText(verdict.nominal_ohm)) : null,
    at(value).beyond ? null : bar(at(value - reach).x, at(value + reach).x),
    marker(at(value)));
}

function wall(x, text, name) {
  return svg("g", { class: "wall" }, svg("rect", { x: x - 5, y: 16, width: 10, height: 64 }),
    svg("text", { x, y: 101, "text-anchor": "middle" }, text),
    svg("text", { x, y: 10, "text-anchor": "middle", class: "small" }, name));
}

function nominal(x, text) {
  return svg("g", { class: "nominal" }, svg("path", { d: `M${x} 66V80` }), svg("text", { x, y: 101, "text-anchor": "middle" }, text),
    svg("text", { x, y: 10, "text-anchor": "middle", class: "small" }, "nominal"));
}

function bar(from, to) {
  return svg("path", { class: "reach", d: `M${from} 34V62M${from} 48H${to}M${to} 34V62` });
}

function marker({ x, beyond }) {
  if (beyond) return svg("path", { class: "at", d: `M${x - beyond * 16} 28L${x + beyond * 16} 48L${x - beyond * 16} 68Z` });
  return svg("path", { class: "at", d: `M${x} 24L${x + 18} 48L${x} 72L${x - 18} 48Z` });
}

function inWords(verdict) {
  const limit = (name, ohm) => (Number.isFinite(ohm) ? `, ${name} limit ${ohmText(ohm)}` : "");
  const reach = Number.isFinite(verdict.expanded_ohm) ? ` plus or minus ${ohmText(verdict.expanded_ohm)}` : "";
  return `${ohmText(verdict.value_ohm)}${reach}${limit("lower", verdict.lower_ohm)}${limit("upper", verdict.upper_ohm)}`;
}

/** Two jaws that close on the value as it comes to rest; `share` is 0 far from it, 1 at rest. */
export function drawJaws(share, word) {
  const open = 150 * (1 - Math.min(Math.max(share, 0), 1));
  const rest = share >= 1;
  return svg("svg", { class: rest ? "jaws closed" : "jaws", viewBox: "0 0 400 44", role: "img", "aria-label": `${word}: ${Math.round(100 * share)} % of the way to rest` },
    svg("path", { class: "rail", d: "M4 22H396" }),
    svg("path", { class: "jaw", d: `M${186 - open} 4V40H${150 - open}V4Z` }),
    svg("path", { class: "jaw", d: `M${214 + open} 4V40H${250 + open}V4Z` }),
    svg("path", { class: "held", d: "M200 8L210 22L200 36L190 22Z" }));
}
