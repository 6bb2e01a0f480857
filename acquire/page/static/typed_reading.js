// The reading of a meter without a cable: what its display shows, typed, or spoken where the browser can listen.

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
  const form = el("form", { class: "start", on: { submit: give } },
    el("label", { for: "reading" }, "What the meter shows"), field, el("button", { class: "strong" }, "Use it"), ear(field, said, () => form.requestSubmit()), said);
  requestAnimationFrame(() => field.isConnected && field.focus({ preventScroll: true }));
  return form;
}

/** A button that listens for one reading; nothing where the browser cannot. What is heard is taken as if it were typed. */
function ear(field, said, take) {
  const Listener = window.SpeechRecognition ?? window.webkitSpeechRecognition;
  if (!Listener) return null;
  const listen = () => {
    const listener = new Listener();
    listener.lang = document.documentElement.lang || "en";
    listener.onresult = (event) => {
      field.value = event.results[0][0].transcript.trim();
      take();
    };
    listener.onerror = () => { said.textContent = "Nothing was heard. Type it instead."; };
    said.textContent = "Say what the meter shows.";
    listener.start();
  };
  return el("button", { type: "button", title: "Your browser may send what it hears to whoever made it.", on: { click: listen } }, "Say it");
}
