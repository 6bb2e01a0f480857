// The form of a typed result. Its fields become the one line that the daemon reads: NAME = VALUE, details.

import { el } from "./dom.js";
import { order } from "./orders.js";

let lastInstrument = "";

/** The line of a filled form; details that are empty are left out. */
export function lineOf(test, form) {
  const value = test.choices?.length ? form.words || form.stated : `${form.more ? ">" : ""}${form.value} ${form.unit}`.trim();
  const stated = test.choices?.length && form.words ? [form.stated] : [];
  const details = [form.volt && `${form.volt} V`, form.celsius && `${form.celsius} °C`, form.instrument && `by ${form.instrument}`, form.accuracy && `accuracy ${form.accuracy} %`];
  return `${test.name} = ${[value, ...stated, ...details].filter(Boolean).join(", ")}`;
}

/** `done(sentence)` is called once the daemon has taken it. */
export function resultForm(work, test, done) {
  const fields = {};
  const field = (name, label, more = {}, control = null) => {
    fields[name] = control ?? el("input", { id: `r-${name}`, autocomplete: "off", maxlength: 60, ...more });
    return el("span", { class: "field" }, el("label", { for: `r-${name}` }, label), fields[name]);
  };
  const number = { inputmode: "decimal" };
  const said = el("p", { role: "alert" });
  const submit = async (event) => {
    event.preventDefault();
    const form = Object.fromEntries(Object.entries(fields).map(([name, node]) => [name, node.type === "checkbox" ? node.checked : node.value.trim()]));
    lastInstrument = form.instrument;
    const answer = await order("type_result", { text: lineOf(test, form) });
    if (answer.done) done(answer.reason || "The result is on the record.");
    else said.textContent = answer.reason;
  };
  return el("form", { on: { submit } },
    el("div", { class: "fields" },
      test.choices?.length ? [
        field("stated", "Verdict", {}, el("select", { id: "r-stated" }, test.choices.map((word) => el("option", {}, word)))),
        field("words", "What was seen"),
      ] : [
        field("value", "Reading", { ...number, placeholder: (test.placeholder ?? "").replace(/[^0-9.]/g, "") }),
        field("unit", "Unit of measure", {}, el("select", { id: "r-unit" }, (test.units ?? []).map((unit) => el("option", { value: unit }, unitText(unit))))),
        more(fields),
      ],
      test.test_volt ? field("volt", "Test voltage, V", { ...number, value: test.test_volt }) : null,
      field("celsius", "Winding temperature, °C", number),
      field("instrument", "Instrument", { value: lastInstrument, list: "instruments" }),
      test.choices?.length ? null : field("accuracy", "Its accuracy, %", number)),
    el("datalist", { id: "instruments" }, (work.plain.instruments ?? []).map((name) => el("option", { value: name }))),
    said, el("button", { class: "strong" }, "Put it on the record"));
}

function more(fields) {
  fields.more = el("input", { id: "r-more", type: "checkbox" });
  return el("label", { class: "check", for: "r-more" }, fields.more, "the instrument shows “more than”");
}

const unitText = (unit) => ({ Mohm: "MΩ", kohm: "kΩ", Gohm: "GΩ", ohm: "Ω" })[unit] ?? unit;
