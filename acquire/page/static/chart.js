// A small chart of values in their order, each with its uncertainty, between limits where there are any.

import { svg } from "./dom.js";
import { ohmText } from "./scale.js";

const WIDE = 900;
const HIGH = 260;
const LEFT = 110;

/** `points`: [{ohm, reach, off, label}] oldest first; `lines`: {centre, lower, upper}, each may be missing. */
export function drawChart(points, lines, about) {
  if (!points.length) return null;
  const values = points.flatMap((p) => [p.ohm - (p.reach ?? 0), p.ohm + (p.reach ?? 0)]).concat(Object.values(lines).filter(Number.isFinite));
  const [low, high] = [Math.min(...values), Math.max(...values)];
  const drawn = Object.entries(lines).filter(([, ohm]) => Number.isFinite(ohm));
  const levels = drawn.length ? drawn : [["centre", low], ["centre", high]];
  const up = (ohm) => HIGH - 34 - (high > low ? (ohm - low) / (high - low) : 0.5) * (HIGH - 54);
  const across = (place) => LEFT + 24 + (points.length > 1 ? place / (points.length - 1) : 0.5) * (WIDE - LEFT - 48);
  return svg("svg", { class: "chart", viewBox: `0 0 ${WIDE} ${HIGH}`, role: "img", "aria-label": about },
    ...levels.flatMap(([name, ohm]) => level(name, ohm, up(ohm), (high - low) / 10)),
    svg("path", { class: "through", d: `M${points.map((p, place) => `${across(place)} ${up(p.ohm)}`).join("L")}` }),
    ...points.flatMap((p, place) => onePoint(p, across(place), up)),
    svg("text", { x: across(0), y: HIGH - 6 }, points[0].label),
    points.length > 1 ? svg("text", { x: across(points.length - 1), y: HIGH - 6, "text-anchor": "end" }, points.at(-1).label) : null);
}

function level(name, ohm, y, fine_ohm) {
  return [svg("path", { class: name === "centre" ? "centre" : "limit", d: `M${LEFT} ${y}H${WIDE}` }),
    svg("text", { x: LEFT - 8, y: y + 4, "text-anchor": "end" }, ohmText(ohm, fine_ohm))];
}

function onePoint(p, x, up) {
  const reach = p.reach ? svg("path", { class: "reach", d: `M${x - 5} ${up(p.ohm - p.reach)}h10M${x} ${up(p.ohm - p.reach)}V${up(p.ohm + p.reach)}M${x - 5} ${up(p.ohm + p.reach)}h10` }) : null;
  const off = p.off ? svg("path", { class: "off", d: `M${x - 10} ${up(p.ohm) - 10}l20 20m0 -20l-20 20` }) : null;
  return [reach, off, svg("circle", { class: "point", cx: x, cy: up(p.ohm), r: 5 })];
}
