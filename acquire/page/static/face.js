// The connector as the operator sees it: which side, where the latch is, which two pins to touch.

import { choice, choose } from "./keep.js";
import { el, svg } from "./dom.js";
import { sign } from "./signs.js";

const CELL = 92;
const EDGE = 16;
const TAB = 36;

/** How this sheet's face is to be drawn: side it is seen from, quarter turns clockwise, mirrored or not. */
export function seenAs(face, sheet) {
  const kept = choice().faces[sheet] ?? {};
  return { side: kept.side ?? face.view, turns: kept.turns ?? 0, mirror: kept.mirror ?? false };
}

/** Where each pin lies once the face is seen so: [{name, x, y, ...}] in cells, size, and the latch's edge. */
export function placed(face, seen) {
  const flip = (seen.side !== face.view) !== seen.mirror;
  let [rows, columns] = [face.rows.length, Math.max(1, ...face.rows.map((row) => row.length))];
  let pins = face.pins.filter((pin) => Number.isInteger(pin.row)).map((pin) => ({
    ...pin, x: flip ? columns - 1 - pin.column : pin.column, y: pin.row,
  }));
  const edges = ["top", "right", "bottom", "left"];
  let latch = edges.indexOf(face.latch);
  if (flip && latch % 2 === 1) latch = 4 - latch;
  for (let turn = 0; turn < seen.turns % 4; turn += 1) {
    const high = rows;
    pins = pins.map((pin) => ({ ...pin, x: high - 1 - pin.y, y: pin.x }));
    [rows, columns] = [columns, rows];
    if (latch >= 0) latch = (latch + 1) % 4;
  }
  return { pins, rows, columns, latch: edges[latch] ?? "" };
}

const MANY = 24;

/** "wide" where it is so much wider than high that it wants the width of the screen, "many" where its pins want room. */
export function wantsRoom(face, sheet) {
  const { pins, rows, columns } = placed(face, seenAs(face, sheet));
  return pins.length > 0 && columns > 2.4 * rows ? "wide" : pins.length > MANY ? "many" : "";
}

/** In words, for everybody and for those who do not see the drawing. */
export function inWords(face, seen, latch) {
  const side = seen.side === "wire" ? "wire side" : "mating side";
  return `${side}${latch ? `, latch ${latch}` : ""}${seen.mirror ? ", MIRRORED" : ""}`;
}

const LEAST_PX = 24;

/** Into how many pieces, one above the other, a long row is cut so that its pins can be read in a place so wide. */
export function pieces(face, sheet, widePx) {
  return Math.ceil((placed(face, seenAs(face, sheet)).columns * LEAST_PX) / (widePx || innerWidth));
}

/** The drawing with its switches. `asked` are the two pins, the first is A; `redraw` is called after a switch; it goes into `cuts` pieces. */
export function drawFace(face, asked, sheet, redraw, cuts) {
  const seen = seenAs(face, sheet);
  const { pins, rows, columns, latch } = placed(face, seen);
  const loose = face.pins.filter((pin) => !Number.isInteger(pin.row));
  return el("figure", { class: "face" },
    pins.length ? plugBox(rows, cuts, plug(pins, rows, columns, latch, asked, cuts)) : null,
    loose.length ? el("ul", { class: "loose", "aria-label": "Loose leads" }, loose.map((pin) => looseLead(pin, asked))) : null,
    face.core ? coreBar(face.core, asked) : null,
    pins.length ? el("figcaption", {}, el("span", { class: "seen" }, inWords(face, seen, latch)), switches(face, seen, sheet, redraw)) : null,
  );
}

/** A box that the plug fills, never so low that its pins could not be read. */
function plugBox(rows, cuts, drawn) {
  const box = el("div", { class: "plug-box" }, drawn);
  box.style.minHeight = `${Math.max(5.6, 1.75 * rows * cuts)}rem`;
  return box;
}

function plug(pins, rows, columns, latch, asked, cuts) {
  const [wide, high] = [columns * CELL + 2 * EDGE, rows * CELL + 2 * EDGE];
  const each = Math.ceil(columns / cuts);
  const label = asked ? `Connector, pin ${asked.join(" and ")} marked` : "Connector";
  const drawn = (some) => [
    latchTab(latch, wide, high),
    svg("rect", { class: "shell", x: 0, y: 0, width: wide, height: high, rx: 20 }),
    svg("rect", { class: "shell-in", x: 9, y: 9, width: wide - 18, height: high - 18, rx: 13 }),
    ...some.map((pin) => onePin(pin, asked)),
  ];
  const [x, y, width, height] = around(latch, cuts > 1 ? each * CELL + 2 * EDGE : wide, high);
  const within = cuts > 1 ? Array.from({ length: cuts }, (_, cut) => svg("svg", {
    x, y: y + cut * (height + EDGE), width, height, viewBox: `${x + cut * each * CELL} ${y} ${width} ${height}`,
  }, ...drawn(pins.filter((pin) => Math.floor(pin.x / each) === cut)))) : drawn(pins);
  return svg("svg", { class: "plug", viewBox: `${x} ${y} ${width} ${cuts * (height + EDGE) - EDGE}`, role: "img", "aria-label": label }, ...within);
}

function around(latch, wide, high) {
  const [x, y] = [latch === "left" ? -TAB : 0, latch === "top" ? -TAB : 0];
  return [x, y, wide + (latch === "left" || latch === "right" ? TAB : 0), high + (latch === "top" || latch === "bottom" ? TAB : 0)];
}

function latchTab(latch, wide, high) {
  if (!latch) return null;
  const long = 110;
  const at = { top: [wide / 2, -17, 0], bottom: [wide / 2, high + 17, 0], left: [-17, high / 2, -90], right: [wide + 17, high / 2, 90] }[latch];
  return svg("g", { class: "latch", transform: `translate(${at[0]} ${at[1]}) rotate(${at[2]})` },
    svg("rect", { x: -long / 2, y: -18, width: long, height: 36, rx: 5 }));
}

function onePin(pin, asked) {
  const place = asked ? asked.indexOf(pin.name) : -1;
  const [x, y] = [EDGE + pin.x * CELL + CELL / 2, EDGE + pin.y * CELL + CELL / 2];
  const size = place >= 0 ? 84 : 76;
  return svg("g", { class: place >= 0 ? "pin asked" : "pin", "data-pin": pin.name, transform: `translate(${x} ${y})` },
    svg("rect", { x: -size / 2, y: -size / 2, width: size, height: size, rx: 9 }),
    svg("text", { x: 0, y: place >= 0 ? 22 : 16, "text-anchor": "middle", "font-size": 88 / Math.max(pin.name.length, 2) }, pin.name),
    place >= 0 ? badge(place, -46, -46) : null);
}

function badge(place, x, y) {
  const drawn = sign(place === 0 ? "A" : "B");
  for (const [name, value] of Object.entries({ x, y, width: 34, height: 34 })) drawn.setAttribute(name, value);
  return drawn;
}

function looseLead(pin, asked) {
  const place = asked ? asked.indexOf(pin.name) : -1;
  return el("li", { class: place >= 0 ? "lead asked" : "lead", "data-pin": pin.name },
    place >= 0 ? sign(place === 0 ? "A" : "B") : null, el("b", {}, pin.name), pin.colour ? ` ${pin.colour}` : "");
}

function coreBar(core, asked) {
  const place = asked ? asked.indexOf(core) : -1;
  return el("p", { class: place >= 0 ? "core asked" : "core", "data-pin": core },
    place >= 0 ? sign(place === 0 ? "A" : "B") : null, el("b", {}, core), el("span", {}, " bare metal of the core"));
}

function switches(face, seen, sheet, redraw) {
  const set = (some) => {
    choose({ faces: { ...choice().faces, [sheet]: { ...seen, ...some } } });
    redraw();
  };
  const other = seen.side === "mating" ? "wire" : "mating";
  return el("span", { class: "switches" },
    el("button", { type: "button", on: { click: () => set({ side: other }) } }, `${other[0].toUpperCase()}${other.slice(1)} side`),
    el("button", { type: "button", on: { click: () => set({ turns: (seen.turns + 1) % 4 }) } }, "Turn"),
    el("button", { type: "button", "aria-pressed": String(seen.mirror), on: { click: () => set({ mirror: !seen.mirror }) } }, "Mirror"));
}
