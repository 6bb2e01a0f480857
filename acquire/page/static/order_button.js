// A button that gives an order, with what came of it beside it. Absent where orders are not taken.

import { el } from "./dom.js";
import { order } from "./orders.js";

/** `about` says what happens next. */
export function orderButton(bench, label, command, fields = {}, about = "", strong = true) {
  if (bench.state()?.orders === false) return el("span", { class: "quiet" }, "This page may not send commands.");
  const said = el("span", { role: "status" }, "");
  const give = async () => {
    const answer = await order(command, typeof fields === "function" ? fields() : fields);
    said.textContent = answer.done ? answer.reason || about : answer.reason;
  };
  return el("span", { class: "find" }, el("button", { type: "button", class: strong ? "strong" : null, on: { click: give } }, label), said);
}
