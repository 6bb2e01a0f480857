// Puts a unit on the bench: by hand, or after a scan. A code that is no serial of the kind known here is asked about first.

import { getJson, order } from "./orders.js";
import { el } from "./dom.js";

/** The small form on the bench screen. */
export function startForm(bench) {
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
  return el("form", { class: "start", on: { submit: begin } },
    el("label", { for: "serial" }, "Serial of the next unit"), field, el("button", { class: "strong" }, "Put it on the bench"), said);
}

/**
 * Takes scanned codes. The daemon tells whether a code is a serial of the kind it knows; any other opens a question.
 * The same code scanned once more is a yes: a second scan is no accident, and needs no glove off.
 */
export class ScanDesk {
  constructor(dialog, tell) {
    Object.assign(this, { dialog, tell, asked: null });
    this.text = el("p", { id: "scan-words" });
    const yes = el("button", { type: "button", class: "strong", on: { click: () => this.accept() } }, "Yes, start it");
    this.no = el("button", { type: "button", on: { click: () => this.dialog.close() } }, "No, leave it");
    dialog.append(el("h2", { id: "scan-title" }, "Start a unit with this code?"), this.text, el("p", {}, "Scan it once more, or press a button."), el("p", { class: "buttons" }, this.no, yes));
    dialog.setAttribute("aria-labelledby", "scan-title");
    dialog.setAttribute("aria-describedby", "scan-words");
    dialog.addEventListener("close", () => { this.asked = null; });
  }

  async scanned(code) {
    if (this.asked?.code === code) return this.accept();
    const answer = await getJson(`/code?text=${encodeURIComponent(code)}`, 5);
    if (!answer.ok) return this.tell(answer.text);
    const { serial, ask } = answer.plain;
    if (ask || this.asked) return this.ask(code, serial ?? code, ask || `“${code}” is another code than the one before.`);
    return this.start(serial ?? code);
  }

  ask(code, serial, sentence) {
    this.asked = { code, serial };
    this.text.textContent = sentence;
    if (!this.dialog.open) this.dialog.showModal();
    this.no.focus();
  }

  async accept() {
    const serial = this.asked?.serial;
    this.dialog.close();
    if (serial) await this.start(serial);
  }

  async start(serial) {
    location.hash = "#now";
    const answer = await order("start_unit", { serial });
    this.tell(answer.done ? answer.reason || `Scanned: ${serial}` : answer.reason, answer.done);
  }
}
