// The trace of the readings since the contact, drawn to the span it has: what creeps is seen to creep.

import { ohmText } from "./scale.js";
import { svg } from "./dom.js";

const WIDE = 480;
const HIGH = 104;
const MOST = 600;

/** Keeps the points of one contact and draws them while it is on the page. */
export class Trace {
  constructor() {
    this.points = [];
    this.line = svg("path", { class: "line" });
    this.dot = svg("circle", { r: 5, class: "dot" });
    this.low = svg("text", { x: 0, y: HIGH - 3 });
    this.high = svg("text", { x: 0, y: 13 });
    this.last = svg("text", { x: WIDE, y: HIGH - 3, "text-anchor": "end" });
    this.node = svg("svg", { class: "trace", viewBox: `0 0 ${WIDE} ${HIGH}`, role: "img", "aria-label": "Readings since the contact" },
      svg("path", { class: "floor", d: `M0 ${HIGH - 18}H${WIDE}` }), this.line, this.dot, this.low, this.high, this.last);
  }

  /** Takes {new, points}: `new` begins another contact. */
  take({ new: anew, points }) {
    if (anew) this.points = [];
    for (const [at_s, value] of points) if (Number.isFinite(at_s) && Number.isFinite(value)) this.points.push([at_s, value]);
    if (this.points.length > MOST) this.points = this.points.filter((_, place) => place % 2 === 0 || place > MOST - 60);
    if (this.node.isConnected) this.draw();
  }

  draw() {
    if (!this.points.length) {
      this.line.setAttribute("d", "");
      this.dot.setAttribute("class", "dot none");
      for (const node of [this.low, this.high, this.last]) node.textContent = "";
      return;
    }
    const values = this.points.map((point) => point[1]);
    const [from, to] = [Math.min(...values), Math.max(...values)];
    const until = Math.max(this.points.at(-1)[0], 1);
    const across = (at_s) => (at_s / until) * (WIDE - 12) + 4;
    const up = (value) => (to > from ? HIGH - 26 - ((value - from) / (to - from)) * (HIGH - 48) : HIGH / 2);
    this.line.setAttribute("d", `M${this.points.map(([s, v]) => `${across(s).toFixed(1)} ${up(v).toFixed(1)}`).join("L")}`);
    const [last_s, last] = this.points.at(-1);
    this.dot.setAttribute("class", "dot");
    this.dot.setAttribute("cx", across(last_s).toFixed(1));
    this.dot.setAttribute("cy", up(last).toFixed(1));
    this.low.textContent = to > from ? `lowest ${ohmText(from)}` : "";
    this.high.textContent = to > from ? `highest ${ohmText(to)}` : "";
    this.last.textContent = `${last_s.toFixed(1)} s`;
  }
}
