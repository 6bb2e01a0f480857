// What can be done to a unit besides touching it: notes in two taps, a photo, its papers; while it is on the bench more.
// Whatever takes a reason goes on the record with it.

import { el } from "./dom.js";
import { order, postJson } from "./orders.js";

const ACTS = {
  measure_again: { label: "Measure the last step again", needs: "" },
  skip_step: { label: "Skip this step", needs: "reason" },
  give_up_unit: { label: "End the unit as it is", needs: "reason" },
  note: { label: "Put a note on the record", needs: "text" },
};

/** Notes that a tap gives. */
const NOTES = ["pin bent", "lead broken", "insulation damaged", "connector dirty", "wound again"];
const LARGEST_PX = 2000;

/** The card; nothing where this page may not give orders. `done` is called when the record has more of the unit. */
export function unitActs(bench, serial, done) {
  const state = bench.state();
  if (!state || state.orders === false) return null;
  const here = state.unit?.serial === serial && !state.unit.ended;
  const said = el("p", { role: "status" });
  const tell = (text) => { said.textContent = text; };
  return el("section", { class: "card stage" }, here ? [notes(tell, done), forms(tell, done)] : papers(serial, tell), photo(serial, tell, done), said);
}

function notes(tell, done) {
  const put = (text) => async () => {
    const answer = await order("note", { text });
    tell(answer.done ? `On the record: ${text}.` : answer.reason);
    if (answer.done) done();
  };
  return el("p", { class: "buttons", role: "group", "aria-label": "Notes" }, el("b", {}, "Note:"), NOTES.map((text) => el("button", { type: "button", on: { click: put(text) } }, text)));
}

function forms(tell, done) {
  const act = el("select", { id: "act" }, Object.entries(ACTS).map(([name, { label }]) => el("option", { value: name }, label)));
  const words = el("input", { id: "words", maxlength: 200, autocomplete: "off", disabled: true });
  act.addEventListener("change", () => { words.disabled = !ACTS[act.value].needs; });
  const submit = async (event) => {
    event.preventDefault();
    const { needs } = ACTS[act.value];
    const answer = await order(act.value, needs ? { [needs]: words.value.trim() } : {});
    tell(answer.done ? answer.reason || "Done." : answer.reason);
    if (answer.done) done();
  };
  return el("form", { class: "find", on: { submit } },
    el("span", { class: "field" }, el("label", { for: "act" }, "While it is on the bench"), act),
    el("span", { class: "field" }, el("label", { for: "words" }, "Reason or note"), words), el("button", {}, "Do it"));
}

/** Issued as PDF, kept as issued beside the record, and opened in a window that prints it. */
function papers(serial, tell) {
  const issue = (kind) => async (event) => {
    tell("One moment …");
    const answer = await postJson("/papers", { kind, serial }, 40);
    if (!answer.ok) return tell(answer.text);
    tell("");
    const link = el("a", { class: "button", href: answer.plain.address, target: "_blank", rel: "noopener" }, `Open the ${kind}`);
    event.target.replaceWith(link);
    return link.click();
  };
  return el("p", { class: "buttons" }, ["certificate", "label"].map((kind) => el("button", { type: "button", on: { click: issue(kind) } }, `Issue a ${kind}`)));
}

function photo(serial, tell, done) {
  const field = el("input", { id: "photo", type: "file", accept: "image/*", capture: "environment" });
  field.addEventListener("change", async () => {
    const [file] = field.files;
    if (!file) return;
    const jpeg = await asJpeg(file).catch(() => "");
    const answer = jpeg ? await postJson("/photos", { serial, jpeg }, 40) : { ok: false, text: "That is not a picture." };
    tell(answer.ok ? "The photo is kept, its hash is on the record." : answer.text);
    if (answer.ok) done();
    field.value = "";
  });
  return el("p", { class: "find" }, el("label", { for: "photo" }, "Photo of the unit"), field);
}

/** A picture as JPEG in base64, made smaller where it is larger than anybody needs. */
async function asJpeg(file) {
  const picture = await createImageBitmap(file);
  const scale = Math.min(1, LARGEST_PX / Math.max(picture.width, picture.height));
  const board = el("canvas", { width: Math.round(picture.width * scale), height: Math.round(picture.height * scale) });
  board.getContext("2d").drawImage(picture, 0, 0, board.width, board.height);
  return board.toDataURL("image/jpeg", 0.85).split(",")[1];
}
