// Gauge studies: begun before a bench is at work, and reported. While one runs, the bench screen says what to do next.

import { address } from "./router.js";
import { drawDocument } from "./document.js";
import { el } from "./dom.js";
import { getJson, postJson } from "./orders.js";
import { head, load } from "./pieces.js";

const FIELDS = { step: ["Step that is studied", ""], parts: ["Units: how many, or their tags with commas", "10"], operators: ["Who measures, with commas", ""], trials: ["Rounds", "3"], name: ["Name of the study; one that is not complete is continued", "study-1"] };

/** Opens the screen; `about` is the study whose report is shown. */
export async function openStudy(main, about) {
  const [form, place] = [el("div", {}), el("div", { class: "stage" })];
  main.append(...head("Gauge study", "Can this bench judge a step? Some units, measured by some people, some times each, in random order."), form, place);
  load(place, `/study${about ? `?name=${encodeURIComponent(about)}` : ""}`, ({ names, document }) => [
    names.length ? el("p", { class: "buttons" }, el("b", {}, "Reports:"), names.map((name) => el("a", { class: "button", href: address("study", name) }, name))) : el("p", { class: "quiet" }, "No study is in this folder yet."),
    ...(document ? drawDocument(document) : [])]);
  const setup = await getJson("/setup");
  form.replaceChildren(setup.ok ? begin(setup.plain.benches) : el("p", { class: "quiet" }, "A study is begun while no bench is at work: it needs the meter for itself."));
}

function begin(benches) {
  if (!benches.length) return el("p", { class: "card" }, "A study needs a bench file: make one in Setup.");
  const bench = el("select", { id: "t-bench" }, benches.map((one) => el("option", { value: one.file }, one.name)));
  const nodes = Object.fromEntries(Object.entries(FIELDS).map(([name, [, value]]) => [name, el("input", { id: `t-${name}`, value, maxlength: 200, autocomplete: "off" })]));
  const said = el("p", { role: "alert" });
  const submit = async (event) => {
    event.preventDefault();
    said.textContent = "";
    const answer = await postJson("/study", { bench: bench.value, ...Object.fromEntries(Object.entries(nodes).map(([name, node]) => [name, node.value])) }, 30);
    if (answer.ok) location.hash = "#now";
    else said.textContent = [answer.text, ...(answer.plain?.faults ?? [])].join(" ");
  };
  const field = (label, node) => el("span", { class: "field" }, el("label", { for: node.id }, label), node);
  return el("form", { class: "card", on: { submit } }, el("div", { class: "fields" }, field("Bench", bench), Object.entries(nodes).map(([name, node]) => field(FIELDS[name][0], node))), said, el("button", { class: "strong" }, "Begin or continue"));
}
