// Settings of a bench at work. The daemon changes its file and reads it again; what is open under the bench takes a start.

import { address } from "./router.js";
import { el } from "./dom.js";
import { fieldsOf } from "./pieces.js";
import { getJson, postJson } from "./orders.js";

/** The form, with what the file says now. */
export async function openSettings(main, bench) {
  const title = main.firstElementChild;
  const answer = await getJson("/settings");
  if (!title.isConnected) return null; // somebody has gone on to another screen
  if (!answer.ok) return main.append(el("p", { class: "card" }, answer.text));
  const { fields, file } = answer.plain;
  const form = fieldsOf(fields, "s");
  const said = el("div", { role: "status" });
  const submit = async (event) => {
    event.preventDefault();
    const given = await postJson("/settings", form.values());
    const at = bench.state()?.unit && !bench.state().unit.ended ? "It counts from the next unit on; the one on the bench is finished as it was begun." : "It counts from now on.";
    const words = given.ok ? [given.plain.changed.length ? `${file} is changed. ${at}` : "Nothing has changed."] : [given.text, ...(given.plain?.faults ?? [])];
    said.replaceChildren(...words.map((line) => el("p", {}, line)));
  };
  return main.append(el("section", { class: "card" }, el("h2", {}, "From the next unit on"),
    el("form", { on: { submit } }, el("div", { class: "fields" }, form.drawn),
      said, bench.state()?.orders === false ? el("p", { class: "quiet" }, "This page may not send commands.") : el("button", { class: "strong" }, "Change it"))),
  el("section", { class: "card" }, el("h2", {}, "Sheets"), el("p", {}, el("a", { href: address("sheet", form.values().sheet) }, "Edit a sheet, or make one from another"), "  ·  ", el("a", { href: "#study" }, "Gauge studies"))),
  el("section", { class: "card" }, el("h2", {}, "At once"), el("p", {}, el("a", { href: address("batch") }, "Begin, pause or finish a batch"))),
  el("section", { class: "card" }, el("h2", {}, "At the next start of the bench"), el("p", {}, `The meter and its link, thermometer, journal, CSV, MQTT, this page and a fixture: change ${file} in a text editor, stop the bench and start it again. The bench refuses such a change while it runs and says so.`)));
}
