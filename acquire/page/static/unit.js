// The result of a unit: verdict, what explains it, which pair to measure next, every step.

import { address } from "./router.js";
import { drawScale } from "./scale.js";
import { el, pairText, part } from "./dom.js";
import { endWord, findForm, head, load, outcomeCell, table, verdictLine, when } from "./pieces.js";
import { sign } from "./signs.js";
import { unitActs } from "./unit_acts.js";

/** Opens the screen for a serial, or for the unit on the bench and the latest ones. */
export function openUnit(main, about, bench) {
  const state = bench.state();
  const serial = about || state?.unit?.serial || state?.result?.serial || "";
  const place = el("div", { class: "stage" });
  const latest = el("section", { class: "card" });
  const acts = el("div", {});
  part(acts, [state?.unit?.serial, state?.unit?.ended, state?.orders], () => unitActs(bench));
  main.append(...head("Unit"), findForm("Serial", serial, (name) => { location.hash = address("unit", name); }), place, acts, latest);
  const show = () => (serial ? load(place, `/unit?serial=${encodeURIComponent(serial)}`, (unit) => drawUnit(unit)) : null);
  show();
  load(latest, "/units?limit=25", drawLatest);
  let done = state?.result?.utc_s;
  return {
    state: (now, changed) => {
      part(acts, [now.unit?.serial, now.unit?.ended, now.orders], () => unitActs(bench));
      if (!changed?.includes("result") || now.result?.utc_s === done) return;
      done = now.result?.utc_s;
      if (!about || about === now.result?.serial) show();
    },
  };
}

function drawUnit(unit) {
  const ended = unit.ongoing ? "still on the bench" : when(unit.utc_s);
  return [
    el("section", { class: "card" },
      verdictLine(unit.outcome, endWord(unit), [unit.serial, ended].join("  ·  "), unit.ending),
      unit.reason || unit.held ? el("p", { class: "why" }, unit.reason || unit.held) : null,
      (unit.findings ?? []).filter((text) => text !== unit.reason).map((text) => el("p", {}, text)),
      el("p", { class: "quiet" }, [unit.sheet, unit.batch && `batch ${unit.batch}`, unit.operator, `begun ${when(unit.started_utc_s)}`].filter(Boolean).join("  ·  ")),
      el("p", {}, el("a", { href: address("history", unit.serial) }, "Then and now: all visits of this serial"))),
    unit.next ? el("p", { class: "card next-best" }, sign("asked"), unit.next.text) : null,
    unit.diagnosis?.length ? el("section", { class: "card" }, el("h2", {}, "What would explain it"), explained(unit.diagnosis)) : null,
    el("section", { class: "card" }, el("h2", {}, "Measured"), measured(unit.verdicts ?? [])),
    unit.typed?.length ? el("section", { class: "card" }, el("h2", {}, "Typed results"), table("Typed results", ["test", "verdict", "as typed", "why"], unit.typed.map((one) => [one.name, outcomeCell(one.outcome, one.word), one.typed, one.reason]))) : null,
    unit.not_tested?.length ? el("section", { class: "card" }, el("h2", {}, "What this does not say"), el("ul", {}, unit.not_tested.map((text) => el("li", {}, text)))) : null,
    unit.notes?.length ? el("section", { class: "card" }, el("h2", {}, "Remarks"), el("ul", {}, unit.notes.map((note) => el("li", {}, `${when(note.utc_s)}  ${note.text}`)))) : null,
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
    one.text || (one.open ? "open" : "–"), drawScale(one) ?? "", one.reason,
  ]);
  return table("Measured values", ["pins", "verdict", "at reference temperature", "between its limits", "why"], rows, [2]);
}

function drawLatest({ units }) {
  const rows = units.map((one) => [el("a", { href: address("unit", one.serial) }, one.serial), outcomeCell(one.outcome, endWord(one), one.ending), one.batch, one.sheet, when(one.utc_s)]);
  return [el("h2", {}, "Latest units"), rows.length ? table("Latest units", ["serial", "verdict", "batch", "sheet", "ended"], rows) : el("p", { class: "quiet" }, "No unit has a result yet.")];
}
