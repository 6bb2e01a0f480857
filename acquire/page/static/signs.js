// Shapes of states, each with an outline of its own, so that it is told by eyes that see no colours and from 2 m.

import { svg } from "./dom.js";

const LINE = { fill: "none", stroke: "currentColor", "stroke-width": 9, "stroke-linecap": "round", "stroke-linejoin": "round" };
const FULL = { fill: "currentColor", stroke: "none" };
const HOLE = { fill: "none", stroke: "var(--band)", "stroke-width": 11, "stroke-linecap": "round", "stroke-linejoin": "round" };
const LEFT = "M50 6A44 44 0 0 0 50 94Z";
const DIAMOND = "M50 6L94 50L50 94L6 50Z";

const DRAWN = {
  pass: () => [svg("circle", { cx: 50, cy: 50, r: 46, ...FULL }), svg("path", { d: "M28 52L44 68L74 34", ...HOLE })],
  conditional_pass: () => [svg("circle", { cx: 50, cy: 50, r: 42, ...LINE }), svg("path", { d: LEFT, ...FULL })],
  conditional_fail: () => [svg("path", { d: DIAMOND, ...LINE }), svg("path", { d: "M50 6L94 50H6Z", ...FULL })],
  fail: () => [svg("path", { d: "M16 16L84 84M84 16L16 84", ...LINE, "stroke-width": 22, "stroke-linecap": "butt" })],
  not_yet: () => [
    svg("path", { d: "M50 6A44 44 0 1 1 8 36", ...LINE }), svg("path", { d: "M33 33L67 67M67 33L33 67", ...LINE }), svg("path", { d: "M26 40L6 40L6 18", ...LINE }),
  ],
  cannot_judge: () => [
    svg("rect", { x: 8, y: 8, width: 84, height: 84, ...LINE, "stroke-dasharray": "14 12", "stroke-linecap": "butt" }),
    svg("path", { d: "M36 40C36 22 64 22 64 40C64 52 50 50 50 64M50 76V77", ...LINE }),
  ],
  held: () => [svg("path", { d: "M22 10H78M22 90H78M28 10C28 44 72 56 72 90M72 10C72 44 28 56 28 90", ...LINE }), svg("path", { d: "M36 84C42 70 58 70 64 84Z", ...FULL })],
  touch: () => [svg("path", { d: "M4 12L24 4L43 70ZM96 12L76 4L57 70Z", ...FULL }), svg("path", { d: "M14 90H86", ...LINE, "stroke-width": 12 })],
  settling: () => [svg("path", { d: "M6 50C12 6 26 6 32 50C38 88 50 88 54 52C58 34 66 34 70 50H94", ...LINE })],
  settled: () => [svg("path", { d: "M8 36V64M92 36V64M8 50H92", ...LINE }), svg("circle", { cx: 50, cy: 50, r: 15, ...FULL })],
  waiting: () => [svg("circle", { cx: 18, cy: 50, r: 11, ...FULL }), svg("circle", { cx: 50, cy: 50, r: 11, ...FULL }), svg("circle", { cx: 82, cy: 50, r: 11, ...FULL })],
  other_pair: () => [svg("path", { d: "M16 36H84M16 64H84M66 12L34 88", ...LINE, "stroke-width": 12 })],
  stop: () => [svg("path", { d: "M31 4H69L96 31V69L69 96H31L4 69V31Z", ...FULL }), svg("path", { d: "M28 50H72", ...HOLE, "stroke-width": 15, "stroke-linecap": "butt" })],
  warning: () => [svg("path", { d: "M50 8L95 90H5Z", ...LINE }), svg("path", { d: "M50 38V60M50 75V76", ...LINE, "stroke-width": 10 })],
  info: () => [svg("circle", { cx: 50, cy: 50, r: 43, ...LINE }), svg("path", { d: "M50 46V74M50 27V28", ...LINE, "stroke-width": 11 })],
  left_out: () => [svg("path", { d: "M14 50H86", ...LINE, "stroke-dasharray": "2 17" })],
  asked: () => [svg("path", { d: "M22 12L82 50L22 88Z", ...LINE })],
  lift: () => [svg("path", { d: "M50 90V20M22 46L50 16L78 46", ...LINE, "stroke-width": 13 })],
  lost: () => [svg("path", { d: "M6 50H34M66 50H94M40 26L60 74M60 26L40 74", ...LINE })],
  turn: () => [svg("circle", { cx: 50, cy: 56, r: 36, ...LINE }), svg("path", { d: "M50 56L72 30", ...LINE, "stroke-width": 13 }), svg("path", { d: "M12 20A54 54 0 0 1 40 6M40 6L26 2M40 6L32 18", ...LINE, "stroke-width": 7 })],
  A: () => [svg("rect", { x: 5, y: 5, width: 90, height: 90, rx: 8, class: "mark" }), svg("path", { d: "M30 78L50 24L70 78M37 60H63", ...LINE, "stroke-width": 11 })],
  B: () => [svg("path", { d: "M50 2L99 96H1Z", class: "mark" }), svg("path", { d: "M41 46V86H53C66 86 66 66 53 66H41M52 66C62 66 62 46 52 46H41", ...LINE, "stroke-width": 9 })],
};

/** A state's shape. It stands beside its word, so screen readers skip it unless a label is given. */
export function sign(name, label = "") {
  const about = label ? { role: "img", "aria-label": label } : { "aria-hidden": "true" };
  return svg("svg", { viewBox: "0 0 100 100", class: `sign sign-${name}`, "data-sign": name, ...about }, ...(DRAWN[name] ?? DRAWN.waiting)());
}
