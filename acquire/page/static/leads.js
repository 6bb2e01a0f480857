// Lead zero: what is subtracted for the probes' leads now, and what it was.

import { ago, head, load, table, when } from "./pieces.js";
import { drawChart } from "./chart.js";
import { el } from "./dom.js";
import { ohmText, withReach } from "./scale.js";
import { orderButton } from "./order_button.js";
import { sign } from "./signs.js";

/** Opens the screen. */
export function openLeads(main, bench) {
  const place = el("div", { class: "stage" });
  main.append(...head("Lead zero", "With the probes held together the meter reads its leads alone. That much is taken off every two-wire value."), place);
  const show = () => load(place, "/leads", (plain) => drawLeads(plain, bench));
  show();
  let last = bench.state()?.conditions?.lead_utc_s;
  return {
    state: (now) => {
      if (now.conditions?.lead_utc_s === last) return;
      last = now.conditions?.lead_utc_s;
      show();
    },
  };
}

function drawLeads(plain, bench) {
  const { zeros } = plain;
  const now = zeros.at(-1);
  const contacts = bench.state()?.conditions?.contacts_text ?? "";
  const old = bench.state()?.warnings?.find((one) => one.code.startsWith("leads."))?.text ?? "";
  const points = zeros.map((z) => ({ ohm: z.value_ohm, reach: 2 * z.standard_uncertainty_ohm, off: z.doubtful_since_utc_s !== null && z.doubtful_since_utc_s !== undefined, label: when(z.utc_s) }));
  return [
    el("section", { class: "card stage" },
      now ? el("p", { class: "verdict-line" }, old ? sign("warning") : null, ohmText(now.value_ohm), el("small", {}, `measured ${ago(bench.now_s() - now.utc_s)}`)) : null,
      el("p", {}, old || (now ? `The leads add ${ohmText(now.value_ohm)}.` : "The leads were never zeroed on this bench.")),
      contacts ? el("p", {}, contacts) : null,
      el("p", { class: "buttons" }, orderButton(bench, "Zero the leads now", "zero_leads", {}, "Hold the probes together; the bench screen shows what to do next."))),
    points.length ? el("section", { class: "card" }, el("h2", {}, "Earlier zeros"), points.length > 1 ? drawChart(points, {}, `Lead zeros in order, ${points.length} of them`) : null,
      table("Earlier zeros, latest first", ["when", "leads, k = 2", "meter", "note"], zeros.slice().reverse().map((z) => [when(z.utc_s), withReach(z.value_ohm, 2 * z.standard_uncertainty_ohm), z.meter_id, z.doubtful_since_utc_s ? `doubtful since ${when(z.doubtful_since_utc_s)}` : ""]), [1])) : null,
  ];
}
