// A serial then and now: values at the reference temperature side by side, and whether a difference is real.

import { el, pairText, svg } from "./dom.js";
import { endWord, outcomeCell, table, when } from "./pieces.js";

/** All visits, and the first against the latest. */
export function drawHistory(plain) {
  return [
    plain.visits.length > 1 && (plain.sentences?.length || plain.ours) ? el("section", { class: "card explained" }, [...(plain.sentences ?? []), plain.ours?.sentence].filter(Boolean).map((text) => el("p", { class: "why" }, text))) : null,
    plain.pairs?.length ? el("section", { class: "card" }, el("h2", {}, "First passed visit against the latest"), compared(plain.pairs)) : null,
    plain.visits.length > 1 ? el("section", { class: "card" }, el("h2", {}, "All visits"), visits(plain.visits)) : null,
  ];
}

function compared(pairs) {
  const rows = pairs.map((one) => [
    el("span", {}, el("b", {}, pairText(one.pair)), ` ${one.step}`), one.then?.text ?? "–", one.now?.text ?? "–",
    Number.isFinite(one.difference_percent) ? `${one.difference_percent > 0 ? "+" : one.difference_percent < 0 ? "−" : ""}${Math.abs(one.difference_percent).toFixed(2)} %` : "–",
    drawShift(one) ?? "", { true: "real", false: "within uncertainty" }[one.real] ?? "cannot tell", one.sentence,
  ]);
  return table("Then and now by pair", ["pins", "then", "now", "change", "drawn", "is it real?", "in words"], rows, [1, 2, 3]);
}

/** Both values with their uncertainty on one line: circle then, diamond now. */
function drawShift({ then, now }) {
  const ends = [then, now].map((one) => [one?.value_ohm - (one?.expanded_ohm ?? 0), one?.value_ohm + (one?.expanded_ohm ?? 0)]);
  if (!ends.flat().every(Number.isFinite)) return null;
  const [low, high] = [Math.min(...ends.flat()), Math.max(...ends.flat())];
  const at = (ohm) => 12 + (136 * (ohm - low)) / (high - low || 1);
  const bar = (place, y) => svg("path", { class: "reach", d: `M${at(ends[place][0])} ${y}H${at(ends[place][1])}` });
  const [a, b] = [at(then.value_ohm), at(now.value_ohm)];
  return svg("svg", { class: "chart shift", viewBox: "0 0 160 34", role: "img", "aria-label": `then ${then.text}, now ${now.text}` },
    bar(0, 10), bar(1, 25), svg("circle", { class: "point", cx: a, cy: 10, r: 5 }), svg("path", { class: "point", d: `M${b} 18L${b + 7} 25L${b} 32L${b - 7} 25Z` }));
}

function visits(list) {
  const rows = list.map((one) => [when(one.started_utc_s), one.purpose, outcomeCell(one.outcome, endWord(one), one.ending), one.reason, one.batch, one.sheet, one.meter, one.bench]);
  return table("Visits, oldest first", ["begun", "purpose", "verdict", "why", "batch", "sheet", "meter", "bench"], rows);
}
