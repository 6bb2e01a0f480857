// The result of a unit: verdict, what explains it, which pair to measure next, every step.

import { drawScale } from "./scale.js";
import { el, pairText } from "./dom.js";
import { endWord, outcomeCell, table, verdictLine, when } from "./pieces.js";

/** One visit, with all that is known of it. */
export function drawUnit(unit) {
  const ended = unit.ongoing ? "still on the bench" : when(unit.utc_s);
  return [
    el("section", { class: "card" },
      verdictLine(unit.outcome, endWord(unit), [unit.serial, ended].join("  ·  "), unit.ending),
      unit.reason ? el("p", { class: "why" }, unit.reason) : null,
      el("p", { class: "quiet" }, [unit.sheet, unit.batch && `batch ${unit.batch}`, unit.operator, `begun ${when(unit.started_utc_s)}`].filter(Boolean).join("  ·  "))),
    unit.diagnosis?.length ? el("section", { class: "card" }, el("h2", {}, "What would explain it"), explained(unit.diagnosis), unit.next_pair ? el("p", { class: "quiet" }, `What would tell these explanations apart best: ${pairText(unit.next_pair)}, measured again.`) : null) : null,
    el("section", { class: "card" }, el("h2", {}, "Measured"), measured(unit.verdicts ?? [])),
    unit.typed?.length ? el("section", { class: "card" }, el("h2", {}, "Typed results"), table("Typed results", ["test", "verdict", "as typed", "why"], unit.typed.map((one) => [one.name, outcomeCell(one.outcome, one.word), one.typed, one.reason]))) : null,
    unit.not_tested?.length ? el("section", { class: "card" }, el("h2", {}, "What this does not say"), el("ul", {}, unit.not_tested.map((text) => el("li", {}, text)))) : null,
    unit.visits?.length > 1 ? el("section", { class: "card" }, el("h2", {}, "All visits"), visits(unit.visits)) : null,
    unit.notes?.length ? el("section", { class: "card" }, el("h2", {}, "Notes"), el("ul", {}, unit.notes.map(noteItem))) : null,
  ];
}

/** Explanations with how likely each is; bars are drawn beside the word, never instead of it. */
export function explained(list) {
  return el("ol", { class: "explained" }, list.map((one) => {
    const fill = el("span", {});
    fill.style.width = `${Math.round(100 * one.probability)}%`;
    return el("li", {}, el("span", {}, el("b", {}, one.sureness), el("span", { class: "likely", "aria-hidden": "true" }, fill)), el("span", {}, one.sentence));
  }));
}

function measured(verdicts) {
  const rows = verdicts.map((one) => [
    el("span", {}, el("b", {}, pairText(one.pair)), ` ${one.step}`),
    outcomeCell(one.outcome, one.word + (one.counts === false ? ", not counted" : "")),
    one.text, drawScale(one) ?? "", one.reason,
  ]);
  return table("Measured values", ["pins", "verdict", "at reference temperature", "between its limits", "why"], rows, [2]);
}

function visits(list) {
  const rows = list.map((one) => [when(one.started_utc_s), one.purpose, outcomeCell(one.outcome, endWord(one), one.ending), one.reason, one.batch, one.sheet, one.meter, one.bench]);
  return table("Visits, oldest first", ["begun", "purpose", "verdict", "why", "batch", "sheet", "meter", "bench"], rows);
}

const noteItem = (note) => el("li", {}, `${when(note.utc_s)}  ${note.text}`, note.photo ? el("a", { href: `/photo?name=${note.photo}.jpg`, target: "_blank", rel: "noopener" }, el("img", { class: "photo", src: `/photo?name=${note.photo}.jpg`, alt: "Photo of the unit", loading: "lazy" })) : null);
