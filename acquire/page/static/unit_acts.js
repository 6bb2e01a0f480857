// What can be done to the unit on the bench besides touching it. Whatever takes a reason goes on the record with it.

import { el } from "./dom.js";
import { order } from "./orders.js";

const ACTS = {
  measure_again: { label: "Measure the last step again", needs: "" },
  skip_step: { label: "Leave this step out", needs: "reason" },
  give_up_unit: { label: "End the unit as it is", needs: "reason" },
  note: { label: "Put a remark on the record", needs: "text" },
};

/** The form; nothing where there is no unit at work or this page may not give orders. */
export function unitActs(bench) {
  const state = bench.state();
  if (!state?.unit || state.unit.ended || state.orders === false) return null;
  const act = el("select", { id: "act" }, Object.entries(ACTS).map(([name, { label }]) => el("option", { value: name }, label)));
  const words = el("input", { id: "words", maxlength: 200, autocomplete: "off", disabled: true });
  const said = el("p", { role: "status" });
  act.addEventListener("change", () => { words.disabled = !ACTS[act.value].needs; });
  const submit = async (event) => {
    event.preventDefault();
    const { needs } = ACTS[act.value];
    const answer = await order(act.value, needs ? { [needs]: words.value.trim() } : {});
    said.textContent = answer.done ? answer.reason || "Done." : answer.reason;
  };
  return el("form", { class: "card find", on: { submit } },
    el("span", { class: "field" }, el("label", { for: "act" }, "While it is on the bench"), act),
    el("span", { class: "field" }, el("label", { for: "words" }, "Reason or remark"), words), el("button", {}, "Do it"), said);
}
