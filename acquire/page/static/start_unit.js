// Puts a unit on the bench, by hand or after a scan, and answers what the bench asks about a scan.

import { el, part } from "./dom.js";
import { order } from "./orders.js";
import { sign } from "./signs.js";

/** The small form on the bench screen. */
export function startForm() {
  const field = el("input", { id: "serial", name: "serial", maxlength: 200, autocomplete: "off", spellcheck: "false", enterkeyhint: "go", placeholder: "scan or type" });
  const said = el("p", { class: "said", role: "status" });
  const begin = async (event) => {
    event.preventDefault();
    const serial = field.value.trim();
    if (!serial) return;
    const answer = await order("start_unit", { serial });
    said.textContent = answer.done ? "" : answer.reason;
    if (answer.done) field.blur();
  };
  if (matchMedia("(pointer: fine)").matches) requestAnimationFrame(() => [document.body, document.querySelector("main")].includes(document.activeElement) && field.focus({ preventScroll: true }));
  return el("form", { class: "start", on: { submit: begin } },
    el("label", { for: "serial" }, "Serial of the next unit"), field, el("button", { class: "strong" }, "Put it on the bench"), said);
}

/** A scanned code is an order to start; whether it is meant the bench decides, or asks. */
export async function scanned(code, tell, asked) {
  location.hash = "#now";
  const answer = await order("start_unit", { serial: code });
  if (answer.done || !asked()) tell(answer.done ? answer.reason || `Scanned: ${code}` : answer.reason, answer.done);
}

/** What the bench asks about a scan, with a button for each answer; the same scan once more is a yes too. */
export function showQuestion(node, { question, orders }, tell) {
  const give = (command, fields) => async () => {
    const answer = await order(command, fields);
    if (!answer.done) tell(answer.reason);
  };
  const button = (label, strong, does) => el("button", { type: "button", class: strong ? "strong" : null, on: { click: does } }, label);
  part(node, [question, orders], () => (question ? [sign("warning"), el("p", { class: "question-text" }, question.text), orders === false ? null : el("p", { class: "buttons" },
    button(question.here ? `Continue with ${question.here}` : "Leave it", true, give("undo", {})),
    button(`Start ${question.next}`, false, give("start_unit", { serial: question.next, sure: true })))] : null));
}
