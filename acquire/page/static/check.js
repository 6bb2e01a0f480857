// Check standard: the known resistor as this bench saw it from day to day, on its chart.

import { drawChart } from "./chart.js";
import { el } from "./dom.js";
import { load, outcomeCell, table, when } from "./pieces.js";
import { withReach } from "./scale.js";
import { order } from "./orders.js";
import { orderButton } from "./order_button.js";

/** Opens the screen. */
export function openCheck(main, bench) {
  const place = el("div", { class: "stage" });
  main.append(el("h2", {}, "Check standard"), el("p", { class: "about" }, "A known resistor, measured each day like a unit, tells whether the bench is still what it was."), place);
  const show = () => load(place, "/check", (plain) => drawCheck(plain, bench));
  show();
  let last = bench.state()?.conditions?.check_utc_s;
  return {
    state: (now) => {
      if (now.conditions?.check_utc_s === last) return;
      last = now.conditions?.check_utc_s;
      show();
    },
  };
}

function drawCheck(plain, bench) {
  const readings = plain.readings ?? [];
  const latest = readings.at(-1);
  const points = readings.map((r) => ({ ohm: r.reading_ohm, reach: r.expanded_ohm, off: !r.in_control, label: when(r.utc_s) }));
  return [
    el("section", { class: "card stage" },
      latest ? el("p", { class: "verdict-line" }, outcomeCell(latest.in_control ? "pass" : "fail", latest.in_control ? "in control" : "out of control"), el("small", {}, `${withReach(latest.reading_ohm, latest.expanded_ohm)}, ${when(latest.utc_s)}`)) : el("p", { class: "why" }, "Not measured yet."),
      el("p", {}, `${plain.resistor}: certificate ${withReach(plain.certificate_ohm, plain.certificate_expanded_ohm)}.`),
      [latest?.text, ...(bench.state()?.warnings ?? []).filter((one) => one.code.startsWith("check.")).map((one) => one.text)].filter(Boolean).map((text) => el("p", {}, text)),
      el("p", { class: "buttons" }, orderButton(bench, "Measure it now", "check_meter", {}, "The bench screen asks for it next.")),
      latest && !latest.in_control && bench.state()?.orders !== false ? override() : null),
    points.length ? el("section", { class: "card" }, el("h2", {}, "Readings in order of time"),
      drawChart(points, { centre: plain.centre_ohm, lower: plain.lower_ohm, upper: plain.upper_ohm }, `${points.length} readings of the check standard; those out of control are crossed`),
      table("Readings, latest first", ["when", "reading", "control", "signs"], readings.slice().reverse().map((r) => [when(r.utc_s), withReach(r.reading_ohm, r.expanded_ohm), outcomeCell(r.in_control ? "pass" : "fail", r.in_control ? "in control" : "out of control"), r.text]), [1])) : null,
  ];
}

function override() {
  const field = el("input", { id: "why", maxlength: 200, autocomplete: "off" });
  const said = el("p", { role: "status" });
  const submit = async (event) => {
    event.preventDefault();
    const answer = await order("override_check", { reason: field.value });
    said.textContent = answer.done ? answer.reason || "The bench continues; the reason is on the record." : answer.reason;
  };
  return el("form", { class: "find", on: { submit } }, el("span", { class: "field" }, el("label", { for: "why" }, "Continue anyway, because"), field), el("button", {}, "Go on"), said);
}
