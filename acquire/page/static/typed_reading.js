// The reading of a meter without a cable: what its display shows, typed.

import { el } from "./dom.js";
import { order } from "./orders.js";

/** The small form beside the steps; what was understood is said by the bench itself. */
export function typedReading() {
  const field = el("input", { id: "reading", name: "reading", maxlength: 40, autocomplete: "off", spellcheck: "false", inputmode: "text", enterkeyhint: "go", placeholder: "20.6, 0.44k, OL" });
  const said = el("p", { class: "said", role: "status" });
  const give = async (event) => {
    event.preventDefault();
    const text = field.value.trim();
    if (!text) return;
    const answer = await order("type_reading", { text });
    said.textContent = answer.reason ?? "";
    if (answer.done) field.value = "";
    field.focus();
  };
  requestAnimationFrame(() => field.isConnected && field.focus({ preventScroll: true }));
  return el("form", { class: "start", on: { submit: give } },
    el("label", { for: "reading" }, "What the meter shows"), field, el("button", { class: "strong" }, "Take it"), said);
}
