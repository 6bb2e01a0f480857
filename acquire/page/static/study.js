// Gauge studies: begun before a bench is at work, and reported. While one runs, the bench screen says what to do next.

import { address } from "./router.js";
import { drawDocument } from "./document.js";
import { el } from "./dom.js";
import { postJson } from "./orders.js";
import { fieldsOf, head, load } from "./pieces.js";

/** Opens the screen; `about` is the study whose report is shown. */
export function openStudy(main, about) {
  const place = el("div", { class: "stage" });
  main.append(...head("Gauge study", "Can this bench judge a step? Several people measure several units several times, in random order."), place);
  load(place, `/study${about ? `?name=${encodeURIComponent(about)}` : ""}`, ({ names, document, fields }) => [
    fields ? begin(fields) : el("p", { class: "quiet" }, "A study can begin only while no bench is running: it needs the meter for itself."),
    names.length ? el("p", { class: "buttons" }, el("b", {}, "Reports:"), names.map((name) => el("a", { class: "button", href: address("study", name) }, name))) : el("p", { class: "quiet" }, "No study is in this folder yet."),
    ...(document ? drawDocument(document) : [])]);
}

function begin(fields) {
  if (!fields[0].choices.length) return el("p", { class: "card" }, "A study needs a bench file: make one in Setup.");
  const [form, said] = [fieldsOf(fields, "t"), el("p", { role: "alert" })];
  const submit = async (event) => {
    event.preventDefault();
    said.textContent = "";
    const answer = await postJson("/study", form.values(), 30);
    if (answer.ok) location.hash = "#now";
    else said.textContent = [answer.text, ...(answer.plain?.faults ?? [])].join(" ");
  };
  return el("form", { class: "card", on: { submit } }, el("div", { class: "fields" }, form.drawn), said, el("button", { class: "strong" }, "Begin or continue"));
}
