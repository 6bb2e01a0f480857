// What the operator must know beside the reading: weight as word and shape, with a countdown where there is one.

import { clock, el, part } from "./dom.js";
import { order } from "./orders.js";
import { sign } from "./signs.js";

const ORDER = ["stop", "warning", "remark"];

export class Warnings {
  /** `left_s` tells how long until a moment of the bench's clock; `tell` shows a sentence. */
  constructor(node, left_s, tell) {
    Object.assign(this, { node, left_s, tell, ticking: null });
  }

  show(list, orders) {
    const sorted = [...(list ?? [])].sort((a, b) => ORDER.indexOf(a.weight) - ORDER.indexOf(b.weight));
    part(this.node, [sorted, orders], () => sorted.map((one) => this.one(one, orders)));
    this.tick();
  }

  one(warning, orders) {
    const left = Number.isFinite(warning.until_utc_s) ? el("b", { class: "left", role: "timer", "data-until": warning.until_utc_s }) : null;
    return el("div", { class: `warning weight-${warning.weight}`, "data-code": warning.code },
      sign({ stop: "stop", warning: "warning" }[warning.weight] ?? "remark"),
      el("b", { class: "weight" }, warning.weight), el("span", { class: "warning-text" }, warning.text), left,
      warning.code.startsWith("temperature.") && orders !== false ? this.temperature() : null,
      warning.remedy && orders !== false ? this.remedy(warning.remedy) : null);
  }

  remedy({ label, ...fields }) {
    const { command, ...rest } = fields;
    const give = async () => {
      const answer = await order(command, rest);
      if (!answer.done || answer.reason) this.tell(answer.reason, answer.done);
    };
    return el("button", { type: "button", class: "remedy", on: { click: give } }, label ?? command);
  }

  temperature() {
    const field = el("input", { "aria-label": "Temperature of the room in °C", inputmode: "decimal", placeholder: "21.5", maxlength: 8, autocomplete: "off" });
    const submit = async (event) => {
      event.preventDefault();
      const answer = await order("type_temperature", { celsius: `${field.value.trim().replace(",", ".")} °C` });
      if (!answer.done || answer.reason) this.tell(answer.reason, answer.done);
    };
    return el("form", { class: "remedy-form", on: { submit } }, field, "°C", el("button", { class: "remedy" }, "Take it"));
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
