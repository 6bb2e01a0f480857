// A batch: what to do with it, and its figures, tables and charts, all made by the daemon; this only lays them out.

import { address } from "./router.js";
import { batchActs } from "./batch_acts.js";
import { el, part } from "./dom.js";
import { findForm, head, load, table } from "./pieces.js";

/** Opens the screen for a batch, or for the one at work. */
export function openBatch(main, about, bench) {
  const place = el("div", { class: "stage" });
  const acts = el("div", {});
  const draw = () => part(acts, [bench.state()?.batch?.name, bench.state()?.batch?.state, bench.state()?.orders], () => batchActs(bench));
  main.append(...head("Batch"), acts, place);
  draw();
  load(place, `/batch${about ? `?name=${encodeURIComponent(about)}` : ""}`, drawBatchPage);
  return { state: draw };
}

function drawBatchPage(plain) {
  const [tables, charts] = [plain.tables ?? [], plain.charts ?? []];
  return [
    findForm("Batch", plain.name ?? "", (name) => { location.hash = address("batch", name); }, plain.names ?? []),
    plain.name ? el("h2", {}, plain.name) : null,
    plain.figures?.length ? el("dl", { class: "card figures" }, plain.figures.map((one) => el("div", { class: "figure" }, el("dt", {}, one.label), el("dd", {}, one.value)))) : null,
    plain.sentences?.length ? el("section", { class: "card words-card" }, el("h2", {}, "In words"), el("ul", {}, plain.sentences.map((text) => el("li", {}, text)))) : null,
    tables.map((one) => opens(one.title, [one.step ? charts.filter((each) => each.step === one.step).map(picture) : [], table(one.title, one.head, one.rows)].flat())),
  ].flat();
}

/** Details, closed until somebody wants them: what is in them is not even fetched before. */
const opens = (title, inside) => el("details", { class: "card" }, el("summary", {}, title), el("div", { class: "stage" }, inside));

/** What a chart says stands below it in words, for everybody: its alternative text is its title alone. */
function picture(chart) {
  const words = (chart.alt ?? "").replace(`Chart of ${chart.title}.`, "").trim();
  return el("figure", {}, el("img", { src: ownAddress(chart.src), alt: `Chart of ${chart.title}`, loading: "lazy" }), words ? el("figcaption", {}, words) : null);
}

/** Pictures come from the daemon itself and from nowhere else. */
const ownAddress = (src) => (/^\/[^/\\]/.test(src ?? "") ? src : "");
