// Units on the record: found by part of a serial, filtered, sorted, a page at a time; or one of them, with all its visits.

import { address } from "./router.js";
import { el, part } from "./dom.js";
import { endWord, head, load, outcomeCell, table, when } from "./pieces.js";
import { drawUnit } from "./unit.js";
import { drawDocument } from "./document.js";
import { unitActs } from "./unit_acts.js";

const COLUMNS = [["serial", "serial"], ["outcome", "verdict"], ["batch", "batch"], ["", "sheet"], ["", "purpose"], ["time", "ended"]];

/** What is looked for stays while the page is open. */
const sought = { part: "", outcome: "", purpose: "", batch: "", sheet: "", sort: "time", up: "", page: 0 };

/** Opens the list, or the unit of a serial. */
export function openUnits(main, about, bench) {
  return about ? openUnit(main, about, bench) : openList(main);
}

function openUnit(main, serial, bench) {
  const [place, before, acts] = [el("div", { class: "stage" }), el("div", { class: "stage" }), el("div", {})];
  main.append(...head("Unit"), el("p", {}, el("a", { href: address("units") }, "All units")), acts, place, before);
  const asked = `?serial=${encodeURIComponent(serial)}`;
  const show = () => load(place, `/unit${asked}`, (unit) => {
    if (unit.visits.length > 1) load(before, `/returned${asked}`, ({ document }) => drawDocument(document));
    return drawUnit(unit);
  });
  show();
  let done = bench.state()?.result?.utc_s;
  const draw = (now) => part(acts, [now?.unit?.serial, now?.unit?.ended, now?.orders], () => unitActs(bench, serial, show));
  draw(bench.state());
  return {
    state: (now, changed) => {
      draw(now);
      if (!changed?.includes("result") || now.result?.utc_s === done || now.result?.serial !== serial) return;
      done = now.result.utc_s;
      show();
    },
  };
}

function openList(main) {
  const place = el("div", { class: "stage" });
  const choices = el("div", { class: "find" });
  let waiting = null;
  const show = () => load(place, `/units?${new URLSearchParams(sought)}`, (plain) => {
    part(choices, [plain.batches, plain.sheets], () => [choose("outcome", ["", ...Object.keys(plain.outcomes), "none"], "any verdict", { ...plain.outcomes, none: "held or given up" }), choose("purpose", ["", ...Object.keys(plain.purposes)], "any purpose", plain.purposes),
      choose("batch", ["", ...plain.batches], "any batch"), choose("sheet", ["", ...plain.sheets], "any sheet")]);
    return drawList(plain, seek);
  });
  const seek = (some) => {
    Object.assign(sought, { page: 0 }, some);
    clearTimeout(waiting);
    waiting = setTimeout(show, "part" in some ? 250 : 0);
  };
  const choose = (name, values, none, words = {}) => {
    const node = el("select", { "aria-label": none, on: { change: () => seek({ [name]: node.value }) } }, values.map((value) => el("option", { value, selected: value === sought[name] }, words[value] ?? (value || none))));
    return node;
  };
  const field = el("input", { id: "find", type: "search", value: sought.part, maxlength: 200, autocomplete: "off", spellcheck: "false", placeholder: "part of a serial", on: { input: () => seek({ part: field.value.trim() }) } });
  main.append(...head("Units"), el("form", { class: "find", role: "search", on: { submit: (event) => event.preventDefault() } },
    el("label", { for: "find" }, "Serial"), field, choices), place);
  show();
  return { state: (_, changed) => changed?.includes("result") && show(), close: () => clearTimeout(waiting) };
}

function drawList(plain, seek) {
  const { units, first, total, at_once: most } = plain;
  if (!total) return el("p", { class: "quiet", role: "status" }, "There is no unit with such a result.");
  const turn = (by) => () => seek({ page: sought.page + by });
  const mark = (name) => (sought.sort === name ? (sought.up ? " ▲" : " ▼") : "");
  const titles = COLUMNS.map(([name, title]) => (name ? el("button", { type: "button", class: "plain sort", on: { click: () => seek({ sort: name, up: sought.sort === name && !sought.up ? "1" : "" }) } }, title + mark(name)) : title));
  const rows = units.map((one) => [el("a", { href: address("units", one.serial) }, one.serial),
    el("span", {}, outcomeCell(one.outcome, endWord(one), one.ending), one.outcome && one.untested ? el("small", { class: "quiet" }, ` ${one.untested} not tested`) : null), one.batch, one.sheet, plain.purposes[one.purpose], when(one.utc_s)]);
  return [
    el("p", { class: "buttons", role: "status" }, `${first + 1} to ${first + units.length} of ${total}`,
      first ? el("button", { type: "button", on: { click: turn(-1) } }, "Before") : null, first + most < total ? el("button", { type: "button", on: { click: turn(1) } }, "Next") : null),
    table("Units", titles, rows)];
}
