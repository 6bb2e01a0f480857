// Setup without a terminal: find the meter, try it, choose the sheet, write the bench file, start.

import { el, part } from "./dom.js";
import { getJson, postJson } from "./orders.js";
import { fieldsOf, head } from "./pieces.js";
import { openSettings } from "./settings.js";
import { parts, valueDrawn } from "./digits.js";

/** Opens the screen. */
export function openSetup(main, bench) {
  const place = Object.fromEntries(["note", "meters", "live", "form"].map((name) => [name, el("section", { class: "card stage" })]));
  const work = { bench, place, plain: null, meter: null, trying: false };
  main.append(...head("Setup", "A bench is a meter, a sheet and a purpose. All of it stands in one text file that can be changed."));
  begin(work, main);
  return { state: () => drawLive(work), setup: (progress) => progressed(work, progress), close: () => work.trying && postJson("/setup/try", { stop: true }) };
}

async function begin(work, main) {
  const title = main.firstElementChild;
  const answer = await getJson("/setup");
  if (!title.isConnected) return; // somebody has gone on to another screen
  if (!answer.ok) return openSettings(main, work.bench);
  work.plain = answer.plain;
  main.append(ready(work), el("div", { class: "two" }, work.place.meters, work.place.live), work.place.form);
  drawMeters(work);
  drawLive(work);
  drawForm(work);
}

/** Benches that have their file already need no setup. */
function ready(work) {
  const { benches = [] } = work.plain;
  if (!benches.length) return "";
  const said = el("p", { role: "alert" });
  const start = async (file) => {
    const started = await postJson("/setup/start", { file }, 30);
    said.textContent = started.ok ? "" : started.text;
  };
  return el("section", { class: "card stage" }, el("h2", {}, "Ready to start"), el("ul", {}, benches.map(([file, name]) => el("li", { class: "keys-row" }, el("span", {}, el("b", {}, name), ` ${file}`),
    el("button", { type: "button", "aria-label": `Start ${name}`, on: { click: () => start(file) } }, "Start")))), said);
}

function progressed(work, progress) {
  if (!work.plain) return;
  Object.assign(work.plain, { searching: progress.searching, meters: progress.meters ?? work.plain.meters, progress });
  const now = work.plain.meters.find((each) => each.id === work.meter?.id);
  if (now && now.model !== work.meter.model) propose(work, now.model);
  drawMeters(work);
}

async function search(work) {
  const tcp = (work.tcp?.value ?? "").split(/[\s,]+/).filter(Boolean);
  Object.assign(work.plain, { searching: true });
  drawMeters(work);
  const answer = await postJson("/setup/search", tcp.length ? { tcp } : {}, 90);
  if (!answer.ok) Object.assign(work.plain, { searching: false, problem: answer.text });
  drawMeters(work);
}

function drawMeters(work) {
  const { meters = [], searching, problem, progress } = work.plain;
  part(work.place.meters, [meters, searching, problem, progress?.text, progress?.done, work.meter?.id], () => {
    work.tcp = el("input", { id: "tcp", value: work.tcp?.value ?? "", placeholder: "192.0.2.10:5025", autocomplete: "off", spellcheck: "false" });
    return [
      el("h2", {}, "1  The meter"),
      problem ? el("p", { role: "alert" }, problem) : null,
      el("p", { role: "status" }, searching ? `Looking … ${progress?.total ? `${progress.done} of ${progress.total}` : ""} ${progress?.text ?? ""}` : meters.length ? "Found:" : progress?.text || "Looking asks every serial port, and the addresses below, which meter is there."),
      el("ul", {}, meters.map((meter) => el("li", { class: "keys-row" }, el("span", {}, el("b", {}, meter.text || meter.driver), el("br"), el("span", { class: "quiet" }, `${meter.address}, driver ${meter.driver}`)),
        el("button", { type: "button", "aria-pressed": String(work.meter?.id === meter.id), on: { click: () => take(work, meter) } }, work.meter?.id === meter.id ? "Chosen" : "Use this")))),
      el("p", { class: "find" }, el("span", { class: "field" }, el("label", { for: "tcp" }, "On the network too, host:port"), work.tcp), el("button", { type: "button", disabled: searching, class: meters.length ? null : "strong", on: { click: () => search(work) } }, "Look for meters"),
        el("button", { type: "button", "aria-pressed": String(work.meter === NO_CABLE), on: { click: () => take(work, NO_CABLE) } }, "It has no cable: I type what it shows")),
    ];
  });
}

/** A meter whose display somebody reads: there is nothing to try. */
const NO_CABLE = { id: "typed", driver: "typed", address: "", text: "a meter without a cable" };

/** What names a meter to the daemon: its place among those found, or that there is no cable. */
const named = ({ id, driver }) => (id === NO_CABLE.id ? { driver } : { meter: id });

/** The meter file that fits, unless somebody has chosen another. */
function propose(work, model) {
  const field = document.getElementById("s-model");
  if (field && model && (!work.proposed || field.value === work.proposed)) field.value = model;
  Object.assign(work, { proposed: field?.value });
}

async function take(work, meter) {
  work.meter = meter;
  work.tried = "";
  propose(work, meter === NO_CABLE ? work.plain.typed_model : meter.model);
  if (meter === NO_CABLE) return [drawMeters, drawLive].forEach((draw) => draw(work));
  work.trying = true;
  drawMeters(work);
  const answer = await postJson("/setup/try", named(meter));
  work.tried = answer.ok ? "" : answer.text;
  drawLive(work);
}

function drawLive(work) {
  if (!work.plain) return;
  const { reading, link } = work.bench.state() ?? {};
  part(work.place.live, [work.meter, work.tried, reading, link], () => {
    const [value, unit] = parts(reading?.text ?? "");
    return [
      el("h2", {}, "2  Does it read?"),
      work.meter === NO_CABLE ? el("p", {}, "Each value is typed on the bench screen.") : work.meter ? el("p", {}, "Touch something with the probes and watch.") : el("p", { class: "quiet" }, "Choose a meter first."),
      work.tried ? el("p", { role: "alert" }, work.tried) : null,
      link && link.ok === false ? el("p", { role: "alert" }, link.text) : null,
      work.meter && work.meter !== NO_CABLE && reading ? el("div", { class: "try" }, value ? valueDrawn(value, unit, reading.text, true) : el("b", {}, reading.kind === "none" ? "nothing yet" : reading.text)) : null,
    ];
  });
}

function drawForm(work) {
  const form = fieldsOf(work.plain.fields, "s");
  const said = el("div", { role: "alert" });
  const submit = (event) => {
    event.preventDefault();
    write(work, form.values(), said);
  };
  work.place.form.replaceChildren(el("h2", {}, "3  The bench"), el("p", {}, el("a", { href: "#sheet" }, "Edit a sheet, or make one from another"), "  ·  ", el("a", { href: "#study" }, "Gauge study")), el("form", { on: { submit } },
    el("div", { class: "fields" }, form.drawn),
    said, el("button", { class: "strong" }, "Write the file and start")));
}

async function write(work, plain, said) {
  if (!work.meter) return say(said, ["Choose a meter first."]);
  const asked = JSON.stringify([plain, work.meter.id]);
  if (work.asked !== asked) {
    const written = await postJson("/setup/write", { ...plain, ...named(work.meter) });
    if (!written.ok) return say(said, [written.text, ...(written.plain?.faults ?? [])]);
    Object.assign(work, { asked, file: written.plain.written });
  }
  say(said, [`${work.file} is written. Starting …`]);
  const started = await postJson("/setup/start", { file: work.file }, 30);
  if (!started.ok) return say(said, [started.text]);
  work.trying = false;
  return null;
}

function say(node, sentences) {
  node.replaceChildren(...sentences.filter(Boolean).map((text) => el("p", {}, String(text))));
}
