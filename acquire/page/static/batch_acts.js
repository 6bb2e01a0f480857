// What can be done with the batch at work: begin, pause, go on, finish, another spool. The daemon keeps the books.

import { el } from "./dom.js";
import { fieldsOf } from "./pieces.js";
import { order } from "./orders.js";
import { orderButton } from "./order_button.js";

/** The card; nothing where this page may not give orders. */
export function batchActs(bench) {
  const state = bench.state();
  if (!state || state.orders === false) return null;
  const batch = state.batch;
  const running = batch && batch.state !== "paused" && batch.state !== "finished";
  return el("section", { class: "card stage" },
    el("h2", {}, batch ? `${batch.name}: ${batch.state || "running"}` : "No batch is running"),
    running ? el("div", { class: "buttons" }, orderButton(bench, "Pause it", "pause_batch", {}, "Paused.", false), orderButton(bench, "It is finished", "finish_batch", {}, "Finished.", false)) : null,
    running ? form("Another spool from here on", "change_spool", "Use it", [{ name: "spool", label: "What is written on the spool", required: true }, { name: "windings", label: "Only for these windings (may be empty)" }]) : null,
    batch && !running ? el("div", { class: "buttons" }, orderButton(bench, "Continue it", "resume_batch", { batch: batch.name }, "It continues.")) : null,
    running ? null : form("Begin a batch", "open_batch", "Begin", [{ name: "batch", label: "Name", required: true }, { name: "expected", label: "Units expected (may be empty)", inputmode: "numeric" }, { name: "remark", label: "Note (may be empty)" }]));
}

function form(title, command, button, fields) {
  const wanted = fieldsOf(fields, "b");
  const said = el("p", { role: "status" });
  const submit = async (event) => {
    event.preventDefault();
    const given = Object.fromEntries(Object.entries(wanted.values()).filter(([, text]) => text));
    if (given.expected) given.expected = Number(given.expected);
    const answer = await order(command, given);
    said.textContent = answer.done ? answer.reason || "Done." : answer.reason;
  };
  return el("form", { class: "find", "aria-label": title, on: { submit } },
    wanted.drawn,
    el("button", {}, button), said);
}
