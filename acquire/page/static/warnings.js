// What the operator must know beside the reading: severity as word and shape, with a countdown where there is one.

import { clock, el, part } from "./dom.js";
import { order } from "./orders.js";
import { sign } from "./signs.js";

const ORDER = ["stop", "warning", "info"];

/** Warnings that can be answered with a few words or a number. */
const TEMPERATURE = { label: "Temperature of the room in °C", unit: "°C", placeholder: "21.5", button: "Use it", order: "type_temperature", key: "celsius", value: (text) => Number(text.replace(",", ".").replace(/ *°C$/, "") || NaN) };
const ASKED = {
  "temperature.missing": TEMPERATURE,
  "temperature.old": TEMPERATURE,
  "batch.first_unit": { label: "Why the batch continues anyway", placeholder: "reason", button: "Go on", order: "accept_first_unit", key: "reason", value: String },
};

const ZERO = { label: "Zero the leads now", order: "zero_leads" };
const CHECK = { label: "Measure the check standard now", order: "check_meter" };
const REMEDIES = { "leads.none": ZERO, "leads.old": ZERO, "check.due": CHECK, "check.out": CHECK };

export class Warnings {
  /** `left_s` tells how long until a moment of the bench's clock; `tell` shows a sentence. */
  constructor(node, left_s, tell) {
    Object.assign(this, { node, left_s, tell, ticking: null });
  }

  show(list, orders) {
    const sorted = [...(list ?? [])].sort((a, b) => ORDER.indexOf(a.severity) - ORDER.indexOf(b.severity));
    part(this.node, [sorted, orders], () => sorted.map((one) => this.one(one, orders)));
    this.tick();
  }

  one(warning, orders) {
    const left = Number.isFinite(warning.until_utc_s) ? el("b", { class: "left", role: "timer", "data-until": warning.until_utc_s }) : null;
    return el("div", { class: `warning severity-${warning.severity}`, "data-code": warning.code },
      sign({ stop: "stop", warning: "warning" }[warning.severity] ?? "info"),
      el("b", { class: "severity" }, warning.severity), el("span", { class: "warning-text" }, warning.text), left,
      orders === false || !ASKED[warning.code] ? null : this.ask(ASKED[warning.code]),
      orders !== false && REMEDIES[warning.code] ? this.remedy(REMEDIES[warning.code]) : null);
  }

  /** A button for what would end a warning. */
  remedy({ label, order: command }) {
    return el("button", { type: "button", class: "remedy", on: { click: () => this.give(command, {}) } }, label);
  }

  async give(command, fields) {
    const answer = await order(command, fields);
    if (!answer.done || answer.reason) this.tell(answer.reason, answer.done);
  }

  /** One field and a button, for what a warning wants to be told. */
  ask({ label, unit, placeholder, button, order: command, key, value }) {
    const field = el("input", { "aria-label": label, placeholder, maxlength: 200, autocomplete: "off", inputmode: unit ? "decimal" : null, class: unit ? "short" : null });
    const submit = async (event) => {
      event.preventDefault();
      await this.give(command, { [key]: value(field.value.trim()) });
    };
    return el("form", { class: "remedy-form", on: { submit } }, field, unit ?? null, el("button", { class: "remedy" }, button));
  }

  tick() {
    clearTimeout(this.ticking);
    let running = false;
    for (const node of this.node.querySelectorAll("[data-until]")) {
      const left_s = this.left_s(Number(node.dataset.until));
      node.textContent = left_s > 0 ? `${clock(left_s)} left` : "time is up";
      running ||= left_s > 0;
    }
    if (running) this.ticking = setTimeout(() => this.tick(), 1000);
  }
}
