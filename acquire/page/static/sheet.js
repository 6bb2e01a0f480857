// A sheet, edited: pins on the connector's face, windings between them, tolerances, and what every pair then reads.

import { drawFace } from "./face.js";
import { el, pairText } from "./dom.js";
import { head, table } from "./pieces.js";
import { postJson } from "./orders.js";

const LISTS = {
  pin: ["Pins", { name: "pin", colour: "colour", remark: "remark", lead: "lead, such as 23 mohm" }],
  winding: ["Windings", { name: "name", a: "from", b: "to", resistance: "resistance", acceptance: "acceptance", serviceable: "serviceable" }],
  step: ["Steps, in the order of measuring", { name: "name", a: "probe A", b: "probe B", kind: "kind" }],
};
const ENDS = { winding: "between", step: "pair" };
const LOOK_MS = 400;

/** Opens the screen; `about` is the sheet's place in the list. */
export async function openSheet(main, about) {
  const work = { file: about, wanted: null, place: el("div", { class: "stage" }), field: null, waiting: null };
  const choose = el("select", { id: "sheet", on: { change: () => open(work, choose.value) } });
  main.append(...head("Sheet", "What is known of a unit type. What is changed here is written into the same text file, its comments kept."),
    el("p", { class: "find" }, el("label", { for: "sheet" }, "Sheet"), choose), work.place);
  const { ok, text, plain } = await postJson("/sheet", {});
  if (!ok) return work.place.replaceChildren(el("p", { class: "card" }, text));
  choose.append(...plain.sheets.map((one) => el("option", { value: one.file, selected: one.file === about }, `${one.name}${one.source === "shipped" ? " (example)" : ""}`)));
  return open(work, choose.value);
}

async function open(work, file) {
  work.file = file;
  const answer = await postJson("/sheet", { file });
  if (!answer.ok) return work.place.replaceChildren(el("p", { class: "card" }, [answer.text, ...(answer.plain?.faults ?? [])].join(" ")));
  work.wanted = split(answer.plain);
  return draw(work, answer.plain);
}

/** Both ends of a winding or step as fields of their own, and back. */
const split = ({ sheet, connector, pin, winding, step }) => ({ sheet, connector: { ...connector, rows: (connector.rows || []).map((row) => row.join(" ")).join(" / ") }, pin,
  winding: winding.map(({ between, ...one }) => ({ ...one, a: between[0] ?? "", b: between[1] ?? "" })), step: step.map(({ pair, ...one }) => ({ ...one, a: pair[0] ?? "", b: pair[1] ?? "" })) });
const joined = (kind, { a, b, ...one }) => (ENDS[kind] ? { ...one, [ENDS[kind]]: [a.trim(), b.trim()] } : one);
const whole = ({ sheet, connector, ...lists }) => ({ sheet, connector: { ...connector, rows: connector.rows.split("/").map((row) => row.trim().split(/\s+/)) },
  ...Object.fromEntries(Object.entries(lists).map(([kind, list]) => [kind, list.map((one) => joined(kind, one))])) });

function draw(work, plain) {
  const { wanted } = work;
  work.face = el("div", { class: "now-face sheet-face" });
  work.said = el("div", { role: "status" });
  work.seen = el("div", { class: "stage" });
  work.save = el("input", { id: "save", maxlength: 60, autocomplete: "off", value: work.file.startsWith("folder/") ? work.file.slice(7) : "" });
  const words = { name: "Name", about: "About" };
  work.place.replaceChildren(
    el("section", { class: "card" }, el("div", { class: "fields" }, Object.keys(words).map((key) => labelled(work, wanted.sheet, key, words[key])), labelled(work, wanted.connector, "rows", "Pins, rows parted by /"), labelled(work, wanted.connector, "core", "Name of the core")),
      el("p", { class: "quiet" }, "Tap two pins to put them into the field that was used last."), work.face),
    ...Object.entries(LISTS).map(([kind, [title, keys]]) => list(work, kind, title, keys)),
    el("section", { class: "card stage" }, work.said, el("form", { class: "find", on: { submit: (event) => save(event, work) } }, el("span", { class: "field" }, el("label", { for: "save" }, "Save as"), work.save), el("button", { class: "strong" }, "Save the sheet"))),
    el("section", { class: "card" }, el("h2", {}, "What every pair reads"), work.seen));
  show(work, plain);
}

function input(work, one, key, label) {
  const node = el("input", { "aria-label": label, value: one[key] ?? "", maxlength: 200, autocomplete: "off", size: 10 });
  node.addEventListener("input", () => changed(work, one, key, node.value));
  node.addEventListener("focus", () => { work.used = { one, key, node }; });
  return node;
}

function labelled(work, one, key, label) {
  const node = input(work, one, key, label);
  node.id = `e-${key}`;
  return el("span", { class: "field" }, el("label", { for: node.id }, label), node);
}

function list(work, kind, title, keys) {
  const box = el("section", { class: "card" });
  const again = () => {
    const rows = work.wanted[kind].map((one, place) => [...Object.entries(keys).map(([key, label]) => input(work, one, key, `${label}, ${kind} ${place + 1}`)),
      el("button", { type: "button", "aria-label": `Take out ${kind} ${place + 1}`, on: { click: () => { work.wanted[kind].splice(place, 1); again(); look(work); } } }, "Take out")]);
    const add = el("button", { type: "button", on: { click: () => { work.wanted[kind].push({ at: null, ...Object.fromEntries(Object.keys(keys).map((key) => [key, ""])) }); again(); } } }, `One more ${kind}`);
    box.replaceChildren(el("h2", {}, title), table(title, [...Object.values(keys), ""], rows), el("p", { class: "buttons" }, add));
  };
  again();
  return box;
}

function changed(work, one, key, value) {
  one[key] = value;
  clearTimeout(work.waiting);
  work.waiting = setTimeout(() => look(work), LOOK_MS);
}

/** What the sheet would be as it stands in the fields. */
async function look(work) {
  const answer = await postJson("/sheet", { file: work.file, wanted: whole(work.wanted) });
  show(work, answer.ok ? answer.plain : null, answer);
}

function show(work, plain, answer = null) {
  work.said.replaceChildren(...(plain ? [] : [answer.text, ...(answer.plain?.faults ?? [])].map((line) => el("p", {}, line))));
  if (!plain) return;
  const marked = work.used ? [work.used.one.a, work.used.one.b] : null;
  work.face.replaceChildren(drawFace(plain.face, marked, plain.sheet.name, () => show(work, plain)));
  work.seen.replaceChildren(
    table("Pairs", ["pins", "reads", "accepted after winding", "serviceable"], plain.pairs.map((one) => [pairText(one.pair), one.nominal, one.acceptance, one.serviceable])),
    el("h2", {}, "Limits of the steps"), table("Steps", ["step", "pins", "accepted after winding", "serviceable"], plain.steps.map((one) => [one.name, pairText(one.pair), one.acceptance, one.serviceable])));
  for (const pin of work.face.querySelectorAll("[data-pin]")) pin.addEventListener("click", () => tapped(work, pin.dataset.pin));
}

/** A pin that is tapped goes into the end that was used last, and the next into the other one. */
function tapped(work, name) {
  const { one, key, node } = work.used ?? {};
  if (!node || !["a", "b"].includes(key)) return;
  node.value = name;
  changed(work, one, key, name);
  const other = node.closest("tr").querySelectorAll("input")[key === "a" ? 2 : 1];
  other.focus();
}

async function save(event, work) {
  event.preventDefault();
  const name = work.save.value.trim();
  const answer = await postJson("/sheet", { file: work.file, wanted: whole(work.wanted), save: name.endsWith(".toml") ? name : `${name}.toml` });
  if (!answer.ok) return show(work, null, answer);
  work.file = `folder/${answer.plain.written}`;
  work.wanted = split(answer.plain);
  draw(work, answer.plain);
  work.said.replaceChildren(el("p", {}, `${answer.plain.written} is written. A bench that works by it takes it once its settings are read again.`));
  return null;
}
