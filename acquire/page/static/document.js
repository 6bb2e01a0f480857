// A report drawn on the screen: the same blocks that papers and terminals are made of, one function a kind.

import { el, svg } from "./dom.js";
import { outcomeCell, table, verdictLine } from "./pieces.js";

/** Kinds that are words: a part of nothing else stands open; what is long to look at opens when somebody wants it. */
const WORDS = new Set(["text", "bullets", "heading"]);
const OF_PAPER = new Set(["signing", "end", "code"]);

const draws = {
  text: ({ text, tone }) => el("p", { class: { strong: "hint", small: "quiet", caution: "hint" }[tone] ?? null }, text),
  heading: ({ text, beside }) => el("h3", {}, text, beside ? el("small", { class: "quiet" }, `  ${beside}`) : null),
  bullets: ({ texts }) => el("ul", { class: "words-card" }, texts.map((text) => el("li", {}, text))),
  keyvalues: ({ rows }) => el("dl", { class: "figures" }, rows.map(([name, value]) => el("div", { class: "figure" }, el("dt", {}, name), el("dd", {}, value)))),
  result: ({ mark, word, texts }) => [verdictLine(mark, word), ...texts.map((text) => el("p", {}, text))],
  table: ({ columns, rows }, about) => table(about, columns.map(({ head }) => head), rows.map((row) => row.map(cell)), columns.flatMap(({ right }, place) => (right ? [place] : []))),
  picture: ({ svg: drawn, caption }, about) => (drawn ? el("figure", {}, el("img", { src: `data:image/svg+xml,${encodeURIComponent(drawn)}`, alt: `Chart of ${about}`, loading: "lazy" }), caption ? el("figcaption", {}, caption) : null) : null),
  plots: ({ plots }) => el("div", { class: "two" }, plots.map(plot)),
  strip: ({ squares, key }) => [el("p", { class: "squares", role: "img", "aria-label": `${squares.length} units in order` }, squares.map((one) => el("span", { title: one.about }, outcomeCell(one.mark, String(one.number))))), el("p", { class: "quiet" }, key)],
};

/** The whole, as elements. */
export function drawDocument({ title, subtitle, blocks }) {
  const parts = [{ title: "", blocks: [] }];
  for (const block of blocks.filter(({ kind }) => !OF_PAPER.has(kind))) {
    if (block.kind === "heading" && block.level === 2) parts.push({ title: block.text, blocks: [] });
    else parts.at(-1).blocks.push(block);
  }
  return [el("h2", {}, title), subtitle ? el("p", { class: "quiet" }, subtitle) : null, ...parts.filter((one) => one.blocks.length).map(section)];
}

function section({ title, blocks }) {
  let about = title;
  const inside = blocks.flatMap((block) => {
    if (block.kind === "heading") about = block.text;
    return draws[block.kind]?.(block, about || "Values") ?? [];
  });
  if (!title || blocks.every(({ kind }) => WORDS.has(kind))) return el("section", { class: "card stage" }, title ? el("h2", {}, title) : null, inside);
  return el("details", { class: "card" }, el("summary", {}, title), el("div", { class: "stage" }, inside));
}

const places = new Intl.NumberFormat("en", { maximumFractionDigits: 1 });

function cell(of) {
  if (of?.kind === "marked") return outcomeCell(of.mark, of.text);
  if (of?.kind === "bar") return shape(`${places.format(100 * of.share)} %`, svg("rect", { class: "point", x: 0, y: 8, width: 160 * of.share, height: 14 }));
  if (of?.kind === "scale") return scale(of);
  return of ?? "";
}

const shape = (words, ...drawn) => svg("svg", { class: "chart shift", viewBox: "0 0 160 30", role: "img", "aria-label": words }, drawn);

/** Places are 0 to 1 of the width. */
function scale({ lower, upper, value, low, high }) {
  const wall = (at) => (at === null ? null : svg("path", { class: "limit", d: `M${160 * at} 2V28` }));
  return shape("value between its limits", ...[wall(lower), wall(upper)].filter(Boolean), svg("path", { class: "reach", d: `M${160 * low} 15H${160 * high}` }), svg("circle", { class: "point", cx: 160 * value, cy: 15, r: 5 }));
}

function plot({ title, caption, points, settled }) {
  const across = settled === null ? null : svg("path", { class: "centre", d: `M0 ${settled}H100` });
  return el("figure", {}, el("figcaption", {}, title), svg("svg", { class: "chart", viewBox: "0 0 100 40", role: "img", "aria-label": `${title}: ${caption}` }, ...[across].filter(Boolean), svg("path", { class: "through", d: `M${points.map(([x, y]) => `${x} ${y}`).join("L")}` })), el("figcaption", {}, caption));
}
