// Pieces that several screens share: tables, verdict lines, times, loading a part from the daemon.

import { el } from "./dom.js";
import { getJson } from "./orders.js";
import { sign } from "./signs.js";

const GOOD = new Set(["pass", "conditional_pass"]);
const BAD = new Set(["fail", "conditional_fail"]);

const side = (outcome) => (GOOD.has(outcome) ? "good" : BAD.has(outcome) ? "bad" : "other");

/** Shape and word of an outcome for a table; null outcome shows the word alone. */
export function outcomeCell(outcome, word, ending) {
  return el("span", { class: `cell-${side(outcome)}`, "data-outcome": outcome ?? "" }, outcome ? sign(outcome) : ending === "warm" ? sign("held") : null, word || "–");
}

const ENDINGS = { warm: "held", early: "ended early", next_unit: "ended early", files_changed: "ended early" };

/** How a unit ended, in a word: its verdict, or that it was held or ended early. */
export function endWord({ outcome, word, ending }) {
  if (outcome) return word;
  return ENDINGS[ending] ?? (word || "no result yet");
}

/** The large line on top of a result. */
export function verdictLine(outcome, word, more = "", ending = "") {
  return el("p", { class: `verdict-line ${side(outcome)}`, "data-outcome": outcome ?? "" }, sign(outcome ?? (ending === "warm" ? "held" : "left_out")), word || "no verdict", more ? el("small", {}, more) : null);
}

/** A table that scrolls by itself where it is wider than the screen. Cells are texts or elements; `numbers` are columns set right. */
export function table(about, head, rows, numbers = []) {
  const set = (place, cell = "") => (numbers.includes(place) ? "number" : String(cell?.textContent ?? cell).length > 40 ? "long" : null);
  return el("div", { class: "table-box", tabindex: 0, role: "group", "aria-label": about },
    el("table", {}, el("caption", { class: "unseen" }, about),
      el("thead", {}, el("tr", {}, head.map((text, place) => el("th", { scope: "col", class: set(place) }, text)))),
      el("tbody", {}, rows.map((row) => el("tr", {}, row.map((cell, place) => el("td", { class: set(place, cell) }, cell)))))));
}

/** Local date and time, to the minute. */
export function when(utc_s) {
  if (!Number.isFinite(utc_s)) return "–";
  const at = new Date(utc_s * 1000);
  const two = (n) => String(n).padStart(2, "0");
  return `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())} ${two(at.getHours())}:${two(at.getMinutes())}`;
}

/** How long ago, in the coarsest unit that says it. */
export function ago(seconds) {
  if (!(seconds >= 0)) return "";
  for (const [size, word] of [[86400, "day"], [3600, "hour"], [60, "minute"]]) {
    const n = Math.floor(seconds / size);
    if (n) return `${n} ${word}${n > 1 ? "s" : ""} ago`;
  }
  return "just now";
}

/** Head of a screen. */
export function head(title, about = "") {
  return [el("h1", {}, title), about ? el("p", { class: "about" }, about) : null].filter(Boolean);
}

/** Fields as the daemon describes them: {drawn, values()}; `prefix` keeps their ids apart. */
export function fieldsOf(wanted, prefix) {
  const option = (value) => ([each, text]) => el("option", { value: each, selected: each === value }, text);
  const nodes = wanted.map(({ name, value, choices, ...more }) => (choices ? el("select", { id: `${prefix}-${name}` }, choices.map(option(value))) : el("input", { id: `${prefix}-${name}`, value, maxlength: 200, autocomplete: "off", ...more })));
  return {
    drawn: nodes.map((node, place) => el("span", { class: "field" }, el("label", { for: node.id }, wanted[place].label), node)),
    values: () => Object.fromEntries(nodes.map((node, place) => [wanted[place].name, node.value.trim()])),
  };
}

const asked = new WeakMap();

/** Fetches and draws into `place`; a refusal is shown as its sentence. */
export async function load(place, path, draw) {
  if (!place.childElementCount) place.replaceChildren(el("p", { class: "quiet" }, "Looking it up …"));
  asked.set(place, path);
  const answer = await getJson(path, 40); // a report may take 30 s, and then says so itself
  if (asked.get(place) !== path) return; // another question has been put since
  const drawn = answer.ok && answer.plain ? draw(answer.plain) : el("p", { class: "card", role: "status" }, answer.text || "Nothing found.");
  place.replaceChildren(...[drawn].flat().filter(Boolean));
}

/** A form with one field that goes to an address of ours. */
export function findForm(label, value, go, list = []) {
  const field = el("input", { id: "find", value, maxlength: 200, autocomplete: "off", spellcheck: "false", list: list.length ? "find-list" : null });
  const submit = (event) => {
    event.preventDefault();
    if (field.value.trim()) go(field.value.trim());
  };
  return el("form", { class: "find", on: { submit } },
    el("span", { class: "field" }, el("label", { for: "find" }, label), field),
    list.length ? el("datalist", { id: "find-list" }, list.map((name) => el("option", { value: name }))) : null,
    el("button", {}, "Show"));
}
