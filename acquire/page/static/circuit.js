// The windings behind the connector, small: terminals in a row on top, each winding on a line of its own below.

import { svg } from "./dom.js";

const STEP = 26;
const TOP = 34;
const SIGN_WIDE = 40;
const MOST = 8;

/** Leads are folded away: their inner end is the pin. Gives nodes in order and the branches between them. */
export function folded(branches, order) {
  const outer = new Map();
  for (const lead of branches.filter((b) => b.kind === "lead")) {
    const pin = order.includes(lead.a) ? lead.a : lead.b;
    const inner = pin === lead.a ? lead.b : lead.a;
    if (!order.includes(inner)) outer.set(inner, pin);
  }
  const name = (node) => outer.get(node) ?? node;
  const kept = branches.filter((b) => b.kind !== "lead" || (order.includes(b.a) && order.includes(b.b)))
    .map((b) => ({ ...b, a: name(b.a), b: name(b.b) })).filter((b) => b.a !== b.b);
  const nodes = [...order, ...new Set(kept.flatMap((b) => [b.a, b.b]).filter((node) => !order.includes(node)))];
  return { nodes: nodes.filter((node) => kept.some((b) => b.a === node || b.b === node)), branches: kept };
}

/** Branches on the shortest way between two nodes. */
export function onTheWay(branches, pair) {
  if (!pair) return new Set();
  const from = new Map([[pair[0], []]]);
  const queue = [pair[0]];
  for (const node of queue) {
    if (node === pair[1]) return new Set(from.get(node));
    for (const b of branches) {
      const next = b.a === node ? b.b : b.b === node ? b.a : null;
      if (next === null || from.has(next)) continue;
      from.set(next, [...from.get(node), b.name]);
      queue.push(next);
    }
  }
  return new Set();
}

/** The drawing; the way between the two pins asked for is drawn heavy. */
export function drawCircuit(circuit, order, asked) {
  const whole = folded(circuit.branches, order);
  const branches = whole.branches.length > MOST ? concerned(whole.branches, asked) : whole.branches;
  const nodes = whole.nodes.filter((node) => branches.some((b) => b.a === node || b.b === node));
  if (!branches.length || nodes.length > MOST) return null;
  const apart = Math.max(46, Math.min(64, 360 / nodes.length));
  const at = new Map(nodes.map((node, place) => [node, 24 + place * apart]));
  const wide = 48 + (nodes.length - 1) * apart + 70;
  const high = TOP + branches.length * STEP + 8;
  const way = onTheWay(branches, asked);
  const lines = branches.map((branch, place) => winding(branch, at, TOP + (place + 0.75) * STEP, wide, way.has(branch.name)));
  const lowest = new Map(nodes.map((node) => [node, Math.max(...branches.map((b, place) => (b.a === node || b.b === node ? TOP + (place + 0.75) * STEP : 0)))]));
  return svg("svg", { class: "circuit", viewBox: `0 0 ${wide} ${high}`, role: "img", "aria-label": inWords(branches) },
    ...nodes.map((node) => svg("path", { class: "drop", d: `M${at.get(node)} ${TOP - 8}V${lowest.get(node)}` })),
    ...lines,
    ...nodes.map((node) => terminal(node, at.get(node), asked?.includes(node))));
}

/** Of a circuit too large to be read whole: what lies between the pins asked for. */
function concerned(branches, asked) {
  const way = onTheWay(branches, asked);
  return branches.filter((b) => way.has(b.name));
}

function terminal(node, x, asked) {
  return svg("g", { class: asked ? "terminal asked" : "terminal" },
    svg("rect", { x: x - 21, y: 3, width: 42, height: 24, rx: 5 }),
    svg("text", { x, y: 20, "text-anchor": "middle" }, node));
}

function winding(branch, at, y, wide, heavy) {
  const [left, right] = [at.get(branch.a), at.get(branch.b)].sort((m, n) => m - n);
  const middle = (left + right) / 2;
  const half = Math.min(SIGN_WIDE, right - left - 8) / 2;
  const long = branch.name.length * 7;
  const after = right + 10 + long <= wide;
  return svg("g", { class: heavy ? "branch heavy" : "branch" },
    svg("path", { class: "line", d: `M${left} ${y}H${middle - half}M${middle + half} ${y}H${right}` }),
    svg("path", { class: "line", d: shape(branch.kind, middle - half, middle + half, y) }),
    svg("circle", { cx: left, cy: y, r: 3.2 }), svg("circle", { cx: right, cy: y, r: 3.2 }),
    svg("text", { x: after ? right + 9 : left - 9, y: y + 4, "text-anchor": after ? "start" : "end" }, branch.name));
}

function shape(kind, from, to, y) {
  const long = to - from;
  if (kind === "winding") return `M${from} ${y}${arcs(long)}`;
  if (kind === "diode") return `M${from} ${y}H${from + long / 3}V${y - 7}L${to - long / 3} ${y}L${from + long / 3} ${y + 7}V${y}M${to - long / 3} ${y - 7}V${y + 7}M${to - long / 3} ${y}H${to}`;
  return `M${from} ${y}H${to}M${from + 2} ${y - 4}V${y + 4}M${to - 2} ${y - 4}V${y + 4}`;
}

function arcs(long) {
  const each = long / 4;
  return `a${each / 2} ${each / 1.6} 0 0 1 ${each} 0`.repeat(4);
}

function inWords(branches) {
  return `Circuit: ${branches.map((b) => `${b.name} between ${b.a} and ${b.b}`).join("; ")}`;
}
