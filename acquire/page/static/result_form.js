// The form of a typed result. Its fields become the one line that the daemon reads: NAME = VALUE, details.

import { el } from "./dom.js";
import { order } from "./orders.js";

let lastInstrument = "";

/** Units that a value of each quantity is likely to be typed in; of any other it is ohms. */
const UNITS = { insulation: ["Mohm", "Gohm", "kohm"], inductance: ["mH", "H", "uH"], voltage_dc: ["V"], voltage_ac: ["V"], quality_factor: [""], dissipation_factor: [""] };
const OHMS = ["ohm", "mohm", "kohm"];

/** The line of a filled form; what is empty is left out. A verdict alone is a result too: "surge = pass". */
export function lineOf(test, form) {
  const value = form.value ? `${form.more ? ">" : ""}${form.value} ${form.unit ?? ""}`.trim() : form.stated ?? "";
  const details = [form.value && form.stated, form.volt && `${form.volt} V`, form.celsius && `${form.celsius} °C`,
    form.instrument && `by ${form.instrument}`, form.accuracy && `accuracy ${form.accuracy} %`, form.details];
  return `${test.name} = ${[value, ...details].filter(Boolean).join(", ")}`;
}

/** `done(sentence)` is called once the daemon has taken it. */
export function resultForm(work, test, done) {
  const insulation = Boolean(test.charge_s);
  const step = Boolean(test.kind); // whose instrument may say itself whether it passes
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
    if (answer.done && !answer.reason) done("The result is on the record.");
    else said.textContent = answer.reason; // a refusal, or why it could not be judged: the form stays, to type it again
  };
  return el("form", { on: { submit } },
    el("div", { class: "fields" },
      field("value", step ? "Reading, or what was seen" : "Reading", { placeholder: insulation ? "200" : "" }),
      field("unit", "Unit of measure", {}, el("select", { id: "r-unit" }, unitsOf(test).map((unit) => el("option", { value: unit }, unitText(unit))))),
      insulation ? more(fields) : null,
      step ? field("stated", "Verdict of the instrument", {}, el("select", { id: "r-stated" }, el("option", { value: "" }, "none: judge by the limits"), ["pass", "fail"].map((word) => el("option", {}, word)))) : null,
      insulation ? field("volt", "Test voltage, V", { ...number, value: test.volts }) : null,
      field("celsius", "Winding temperature, °C", number),
      field("instrument", "Instrument", { value: lastInstrument, list: "instruments" }),
      field("accuracy", "Its accuracy, %", number),
      insulation ? null : field("details", "More, such as 1 kHz, against 861 mH", { maxlength: 100 })),
    el("datalist", { id: "instruments" }, (work.plain.instruments ?? []).map((name) => el("option", { value: name }))),
    said, el("button", { class: "strong" }, "Put it on the record"));
}

function more(fields) {
  fields.more = el("input", { id: "r-more", type: "checkbox" });
  return el("label", { class: "check", for: "r-more" }, fields.more, "the instrument shows “more than”");
}

/** Steps that may be words have no unit first: "no difference seen" is no number of ohms. */
const unitsOf = ({ kind, charge_s: insulation, quantity }) => [...(kind && !insulation ? [""] : []), ...(UNITS[quantity] ?? OHMS)];

const unitText = (unit) => ({ "": "none", Mohm: "MΩ", kohm: "kΩ", Gohm: "GΩ", ohm: "Ω" })[unit] ?? unit;
