// A value between its limits with its uncertainty, to scale; and how far a reading still is from rest.

import { el, svg } from "./dom.js";

const LEFT = 20;
const RIGHT = 80;

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

/** Limits as a person reads them: "190.4 … 214.7 Ω", "at most 0.05 Ω"; empty where there are none. */
export function limitsText({ lower_ohm: lower, upper_ohm: upper }) {
  const [low, high] = [lower, upper].map((ohm) => (Number.isFinite(ohm) ? ohmText(ohm) : ""));
  if (!low || !high) return low ? `at least ${low}` : high && `at most ${high}`;
  const [number, unit] = low.split(" ");
  return `${high.endsWith(` ${unit}`) ? number : low} … ${high}`;
}

/** Where a value stands, in per cent, when the limits stand at fixed places; what lies far outside is kept at the edge. */
function column(value, lower, upper) {
  const share = LEFT + ((value - lower) / (upper - lower)) * (RIGHT - LEFT);
  return { x: Math.min(Math.max(share, 4), 96), beyond: share < 4 ? -1 : share > 96 ? 1 : 0 };
}

/** The drawing, or null where there is nothing to draw: no value, or no limits at all. */
export function drawScale(verdict) {
  const value = verdict.reference_ohm;
  let { lower_ohm: lower, upper_ohm: upper } = verdict;
  if (!Number.isFinite(value) || (!Number.isFinite(lower) && !Number.isFinite(upper))) return null;
  const oneSided = !Number.isFinite(lower) ? "upper" : !Number.isFinite(upper) ? "lower" : "";
  if (oneSided === "upper") lower = Math.min(0, upper - 2 * Math.abs(upper));
  if (oneSided === "lower") upper = 2 * Math.max(lower, value);
  if (!(upper > lower)) return null;
  const at = (ohm) => column(ohm, lower, upper);
  const reach = Number.isFinite(verdict.expanded_ohm) ? verdict.expanded_ohm : 0;
  const named = (kind, ohm, name) => put(kind, at(ohm).x, null, el("small", {}, name), el("b", {}, ohmText(ohm)));
  return el("div", { class: "scale", role: "img", "aria-label": inWords(verdict) },
    put("allowed", at(lower).x, at(upper).x),
    oneSided === "upper" ? null : named("wall", lower, "lower limit"),
    oneSided === "lower" ? null : named("wall", upper, "upper limit"),
    Number.isFinite(verdict.nominal_ohm) && oneSided === "" ? named("nominal", verdict.nominal_ohm, "nominal") : null,
    at(value).beyond || !reach ? null : put("reach", at(value - reach).x, at(value + reach).x),
    marker(at(value)));
}

/** A part of the scale from one place to another, both in per cent. */
function put(kind, from, to, ...children) {
  const node = el("span", { class: kind }, ...children);
  node.style.left = `${from}%`;
  if (to !== null) node.style.width = `${to - from}%`;
  return node;
}

const marker = ({ x, beyond }) => put("at", x, null, svg("svg", { viewBox: "0 0 40 56" },
  svg("path", { d: beyond ? `M${20 - beyond * 16} 8L${20 + beyond * 16} 28L${20 - beyond * 16} 48Z` : "M20 4L38 28L20 52L2 28Z" })));

function inWords(verdict) {
  const limit = (name, ohm) => (Number.isFinite(ohm) ? `, ${name} limit ${ohmText(ohm)}` : "");
  const reach = Number.isFinite(verdict.expanded_ohm) ? ` plus or minus ${ohmText(verdict.expanded_ohm)}` : "";
  return `${ohmText(verdict.reference_ohm)}${reach}${limit("lower", verdict.lower_ohm)}${limit("upper", verdict.upper_ohm)}`;
}

/** Two jaws that close on the value as it comes to rest; `share` is 0 far from it, 1 at rest. */
export function drawJaws(share, word) {
  const open = 150 * (1 - Math.min(Math.max(share, 0), 1));
  const rest = share >= 1;
  return svg("svg", { class: rest ? "jaws closed" : "jaws", viewBox: "0 0 400 44", role: "img", "aria-label": `${word}: ${Math.round(100 * share)} % settled` },
    svg("path", { class: "rail", d: "M4 22H396" }),
    svg("path", { class: "jaw", d: `M${186 - open} 4V40H${150 - open}V4Z` }),
    svg("path", { class: "jaw", d: `M${214 + open} 4V40H${250 + open}V4Z` }),
    svg("path", { class: "held", d: "M200 8L210 22L200 36L190 22Z" }));
}
