// A sheet, edited: everything that it can state, pins on the connector's face, and what every pair then reads.

import { drawFace, pieces } from "./face.js";
import { el, pairText } from "./dom.js";
import { head, table } from "./pieces.js";
import { limitsText, ohmText } from "./scale.js";
import { postJson } from "./orders.js";

const TITLES = { pin: "Pins", winding: "Windings", strap: "Straps", diode: "Diodes", balance: "Balances: windings that must be alike", matching: "Matchings: two that must be the same", isolation: "Isolation: groups that nothing may join", correction: "Corrections of insulation", step: "Steps, in the order of measuring" };

/** Keys that every list begins with; another one comes when somebody wants it. */
const USUAL = { pin: ["name", "colour", "remark", "lead"], winding: ["name", "between", "resistance", "acceptance", "serviceable"], strap: ["name", "between", "resistance", "upper"], step: ["name", "pair", "kind"], isolation: ["groups", "at", "at_least", "reject_below"] };
const HOW = { names: "parted by commas", groups: "commas within a group, ; between", yes: "true or false" };
const LOOK_MS = 400;

/** Opens the screen; `about` is the sheet's place in the list. */
export async function openSheet(main, about) {
  const work = { file: about, tables: null, place: el("div", { class: "stage" }), waiting: null, taps: 0 };
  const choose = el("select", { id: "sheet", on: { change: () => open(work, choose.value) } });
  main.append(...head("Sheet", "What is known of a unit type. What is changed here is written into the same text file, its comments kept."),
    el("p", { class: "find" }, el("label", { for: "sheet" }, "Sheet"), choose), work.place);
  const { ok, text, plain } = await postJson("/sheet", {});
  if (!ok) return work.place.replaceChildren(el("p", { class: "card" }, text));
  choose.append(...plain.sheets.map(([value, text]) => el("option", { value, selected: value === about }, text)));
  return open(work, choose.value);
}

async function open(work, file) {
  work.file = file;
  const answer = await postJson("/sheet", { file });
  if (work.file !== file) return null; // another one was chosen since
  if (!answer.ok) return work.place.replaceChildren(el("p", { class: "card" }, [answer.text, ...(answer.plain?.faults ?? [])].join(" ")));
  return draw(work, answer.plain);
}

function draw(work, plain) {
  Object.assign(work, { tables: plain.tables, shapes: plain.shapes, used: null });
  Object.assign(work, { face: el("div", { class: "now-face sheet-face" }), said: el("div", { role: "status" }), seen: el("div", { class: "stage" }) });
  work.save = el("input", { id: "save", maxlength: 60, autocomplete: "off", value: work.file.startsWith("folder/") ? work.file.slice(7) : "" });
  const { sheet, connector, ...lists } = work.shapes;
  const once = (kind, keys) => Object.keys(keys).map((key) => labelled(work, kind, key));
  work.place.replaceChildren(
    el("section", { class: "card" }, el("div", { class: "fields" }, once("sheet", sheet), once("connector", connector)),
      el("p", { class: "quiet" }, "Tap pins to put them into the field that was used last."), work.face),
    ...Object.keys(lists).map((kind) => list(work, kind)),
    el("section", { class: "card stage" }, work.said, el("form", { class: "find", on: { submit: (event) => save(event, work) } }, el("span", { class: "field" }, el("label", { for: "save" }, "Save as"), work.save), el("button", { class: "strong" }, "Save the sheet"))),
    el("section", { class: "card" }, el("h2", {}, "What every pair reads"), work.seen));
  show(work, plain);
}

const spoken = (key) => key.replace(/_/g, " ");

function input(work, one, kind, key, label) {
  const shape = work.shapes[kind][key];
  const node = el("input", { "aria-label": label, value: lineOf(one[key]), maxlength: 1000, autocomplete: "off", size: 10, title: HOW[shape] ?? null });
  node.addEventListener("input", () => changed(work, one, key, valueOf(node.value, shape)));
  node.addEventListener("focus", () => Object.assign(work, { used: { one, key, shape, node }, taps: 0 }));
  return node;
}

function labelled(work, kind, key) {
  const node = input(work, work.tables[kind], kind, key, spoken(key));
  node.id = `e-${kind}-${key}`;
  return el("span", { class: "field" }, el("label", { for: node.id }, spoken(key)), node);
}

function list(work, kind) {
  const box = el("details", { class: "card", open: ["pin", "winding", "step"].includes(kind) });
  const keys = Object.keys(work.shapes[kind]);
  const shown = new Set([...(USUAL[kind] ?? keys), ...work.tables[kind].flatMap(Object.keys)]);
  const again = () => {
    const columns = keys.filter((key) => shown.has(key));
    const rows = work.tables[kind].map((one, place) => [...columns.map((key) => input(work, one, kind, key, `${spoken(key)}, ${kind} ${place + 1}`)),
      el("button", { type: "button", "aria-label": `Remove ${kind} ${place + 1}`, on: { click: () => { work.tables[kind].splice(place, 1); again(); look(work); } } }, "Remove")]);
    const add = el("button", { type: "button", on: { click: () => { work.tables[kind].push({ place: null }); again(); } } }, `Add ${kind}`);
    const rest = keys.filter((key) => !shown.has(key));
    const more = el("select", { "aria-label": `Another key, ${kind}`, on: { change: () => { shown.add(more.value); again(); } } }, el("option", { value: "" }, "Another key …"), rest.map((key) => el("option", { value: key }, spoken(key))));
    box.replaceChildren(el("summary", {}, `${TITLES[kind] ?? kind} (${rows.length})`), rows.length ? table(TITLES[kind] ?? kind, [...columns.map(spoken), ""], rows) : "", el("p", { class: "buttons" }, add, rows.length && rest.length ? more : null));
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
  const { tables } = work;
  const answer = await postJson("/sheet", { file: work.file, wanted: tables });
  if (work.tables === tables) show(work, answer.ok ? answer.plain : null, answer);
}

function show(work, plain, answer = null) {
  work.said.replaceChildren(...(plain ? [] : [answer.text, ...(answer.plain?.faults ?? [])].map((line) => el("p", {}, line))));
  if (!plain) return;
  const marked = work.used?.shape === "names" ? namesOf(work.used.one[work.used.key]) : null;
  work.face.replaceChildren(drawFace(plain.face, marked, plain.tables.sheet.name, () => show(work, plain), pieces(plain.face, plain.tables.sheet.name, work.face.clientWidth)));
  work.seen.replaceChildren(
    table("Pairs", ["pins", "reads", "accepted after winding", "serviceable"], plain.pairs.map((one) => [pairText(one.pair), ohmText(one.nominal_ohm), limitsText(one.acceptance), limitsText(one.serviceable)])),
    el("h2", {}, "Limits of the steps"), table("Limits", ["step", "pins", "accepted after winding", "serviceable"], plain.steps.map((one) => [one.name, pairText(one.pair), limitsText(one.acceptance), limitsText(one.serviceable)])));
  for (const pin of work.face.querySelectorAll("[data-pin]")) pin.addEventListener("click", () => tapped(work, pin.dataset.pin));
}

const namesOf = (value) => (Array.isArray(value) ? value : []);

/** A value as one line: "202.5 ohm", "true", "1, 2", "1, 2, 3; CORE". */
const lineOf = (value) => (Array.isArray(value) ? value.map(lineOf).join(value.some(Array.isArray) ? "; " : ", ") : String(value ?? ""));

/** One line as the value it stands for; what is no count or yes stays a text, which the sheet refuses. */
function valueOf(line, shape) {
  const text = line.trim();
  if (shape === "groups" && text) return text.split(";").map((group) => valueOf(group, "names"));
  if (shape === "names" && text) return text.split(",").map((name) => numberOr(name.trim()));
  if (shape === "count" && /^\d+$/.test(text)) return Number(text);
  return shape === "yes" && ["true", "false"].includes(text) ? text === "true" : text;
}

/** A factor of a correction is a number; names of pins and windings are not. */
const numberOr = (text) => (/^\d+\.\d+$/.test(text) ? Number(text) : text);

/** A tap puts a pin into a pair's first end, the next one into its second; any other list becomes longer. */
function tapped(work, name) {
  const { one, key, shape, node } = work.used ?? {};
  if (!node || !["names", "groups"].includes(shape)) return;
  const pair = ["between", "pair"].includes(key);
  const ends = pair ? Object.assign([...namesOf(one[key])], { [work.taps % 2]: name }) : null;
  work.taps += 1;
  node.value = pair ? lineOf(ends) : [lineOf(one[key]), name].filter(Boolean).join(", ");
  changed(work, one, key, valueOf(node.value, shape));
}

async function save(event, work) {
  event.preventDefault();
  const name = work.save.value.trim();
  const answer = await postJson("/sheet", { file: work.file, wanted: work.tables, save: name.endsWith(".toml") ? name : `${name}.toml` });
  if (!answer.ok) return show(work, null, answer);
  work.file = `folder/${answer.plain.written}`;
  draw(work, answer.plain);
  work.said.replaceChildren(el("p", {}, `${answer.plain.written} is written. A bench that uses it takes it up when its settings are read again.`));
  return null;
}
