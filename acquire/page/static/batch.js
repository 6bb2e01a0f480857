// A batch: its figures, tables and charts, all made by the daemon; this only lays them out.

import { address } from "./router.js";
import { el } from "./dom.js";
import { findForm, head, load, table } from "./pieces.js";

/** Opens the screen for a batch, or for the one at work. */
export function openBatch(main, about) {
  const place = el("div", { class: "stage" });
  main.append(...head("Batch"), place);
  load(place, `/batch${about ? `?name=${encodeURIComponent(about)}` : ""}`, drawBatchPage);
  return {};
}

function drawBatchPage(plain) {
  return [
    findForm("Batch", plain.name ?? "", (name) => { location.hash = address("batch", name); }, plain.names ?? []),
    el("h2", {}, plain.name || "No batch at work"),
    plain.figures?.length ? el("dl", { class: "card figures" }, plain.figures.map((one) => el("div", { class: "figure" }, el("dt", {}, one.label), el("dd", {}, one.value)))) : null,
    plain.charts?.length ? el("div", { class: "pictures" }, plain.charts.map(picture)) : null,
    (plain.tables ?? []).map((one) => el("section", { class: "card" }, el("h2", {}, one.title), table(one.title, one.head, one.rows))),
    plain.sentences?.length ? el("section", { class: "card" }, el("h2", {}, "In words"), plain.sentences.map((text) => el("p", { class: "about" }, text))) : null,
  ].flat();
}

function picture(chart) {
  return el("figure", { class: "card" }, el("h2", {}, chart.title), el("img", { src: ownAddress(chart.src), alt: chart.alt, loading: "lazy" }));
}

/** Pictures come from the daemon itself and from nowhere else. */
const ownAddress = (src) => (/^\/[^/\\]/.test(src ?? "") ? src : "");
