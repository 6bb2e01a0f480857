// Insulation, surge, high-potential and other deliberate tests. Nothing here is hands-free: cautions first, then a
// confirmation that has to be held, then the clock, then the result is typed. The page starts no instrument.

import { clock, el, part } from "./dom.js";
import { countdown } from "./countdown.js";
import { getJson } from "./orders.js";
import { head, outcomeCell } from "./pieces.js";
import { holdButton } from "./hold.js";
import { play } from "./sounds.js";
import { resultForm } from "./result_form.js";
import { sign } from "./signs.js";

const ALWAYS = [
  "Clips on, hands off, one hand behind your back. Never hold the probes while the test voltage is on.",
  "Take the meter's leads off the unit first; disconnect engine, regulator and ignition unit and discharge their capacitors: they hold hundreds of volts.",
  "Discharge afterwards for at least four times as long as the test took, and do not touch before.",
  "A part from the oven burns and gives no verdict. Keep solvent vapour away from sparks. Strong magnets harm pacemakers.",
];

const STAGES = ["cautions", "test running", "result", "discharging", "done"];

/** Opens the screen. */
export function openHandsOff(main, bench) {
  const list = el("section", { class: "card" });
  const stage = el("section", { class: "card danger", "aria-live": "polite" });
  const work = { bench, list, stage, plain: null, test: null, at: "cautions", clock: null };
  main.append(...head("Hands-off tests", "Insulation, surge, high potential, and whatever else another instrument measures. Started deliberately, with clips; the result is typed in here."), cautionsCard(work), list, stage);
  refresh(work);
  return { close: () => work.clock?.stop(), state: (_, changed) => changed?.includes("unit") && work.at === "cautions" && refresh(work) };
}

function cautionsCard(work) {
  const node = el("ul", { class: "cautions" });
  work.cautions = node;
  return el("section", { class: "card danger" }, el("div", { class: "danger-head" }), el("div", { class: "danger-body" }, el("h2", {}, "Before anything is switched on"), node));
}

async function refresh(work) {
  const answer = await getJson("/tests");
  work.plain = answer.plain ?? { tests: [], cautions: [] };
  const cautions = [...new Set([...ALWAYS, ...(work.plain.cautions ?? []).filter((text) => !alike(text))])];
  part(work.cautions, cautions, () => cautions.map((text) => el("li", {}, sign("warning"), el("span", {}, text))));
  drawList(work, answer.ok ? "" : answer.text);
  if (!work.test) drawStage(work);
}

/** The daemon's own cautions say some of ours in other words: those are not shown twice. */
const alike = (text) => /hands off|four times|disconnect/i.test(text);

function drawList(work, problem) {
  const tests = work.plain.tests ?? [];
  part(work.list, [work.plain.serial, tests, problem, work.test?.name, work.at], () => [
    el("h2", {}, work.plain.serial ? `Tests of ${work.plain.serial}` : "No unit is on the bench"),
    problem ? el("p", {}, problem) : null,
    tests.length ? el("ul", { class: "stage" }, tests.map((test) => oneTest(work, test))) : el("p", { class: "quiet" }, "The sheet asks for none."),
  ]);
}

function oneTest(work, test) {
  const busy = work.at !== "cautions" && work.at !== "done";
  const choosing = { type: "button", disabled: busy || !work.plain.serial, "aria-pressed": String(work.test?.name === test.name), on: { click: () => choose(work, test) } };
  return el("li", { class: "keys-row" }, el("span", {}, el("b", {}, test.title || test.name), test.between ? ` ${test.between}` : "", el("br"),
    el("span", { class: "quiet" }, [test.test_volt && `${test.test_volt} V`, test.limit_text].filter(Boolean).join(", "))),
  test.given ? outcomeCell(test.given.outcome, test.given.word || test.given.typed) : el("span", { class: "quiet" }, "not tested"), el("button", choosing, test.given ? "Test again" : "Test this"));
}

function choose(work, test) {
  work.test = test;
  move(work, "cautions");
  work.stage.scrollIntoView({ block: "nearest" });
}

function move(work, at) {
  work.clock?.stop();
  work.clock = null;
  work.at = at;
  drawList(work, "");
  drawStage(work);
}

function drawStage(work) {
  const { test, stage } = work;
  stage.hidden = !test;
  if (!test) return;
  stage.replaceChildren(el("div", { class: "danger-head" }), el("div", { class: "danger-body stage" },
    el("h2", {}, test.title || test.name),
    el("ol", { class: "trail" }, STAGES.map((name) => el("li", { "aria-current": name === work.at ? "step" : null }, name))),
    STAGE[work.at](work, test)));
}

const STAGE = {
  cautions: (work, test) => el("div", { class: "stage" },
    el("p", { class: "why" }, work.plain.hands_off || "The clips are on, the meter is off the unit, and nobody touches it."),
    el("p", {}, "Keep the button, the space bar or Enter pressed for two seconds. Then start the instrument."),
    holdButton("Clips on, hands off: hold for 2 s", () => move(work, "test running"))),
  "test running": (work, test) => counting(work, test.charge_s || 60, "Test running: hands off", "Read the instrument at zero.", "result", "Stop the test: discharge now", "discharging"),
  result: (work, test) => resultForm(work, test, (answer) => {
    work.said = answer;
    move(work, "discharging");
  }),
  discharging: (work, test) => counting(work, test.discharge_s || 240, "Discharging: do not touch", work.said ?? "", "done", "", ""),
  done: (work) => el("div", { class: "stage" }, el("p", { class: "why" }, "Take the clips off now. Check with a voltmeter if in doubt."),
    el("p", {}, work.said ?? ""), el("button", { type: "button", on: { click: () => { work.test = null; work.said = undefined; move(work, "cautions"); refresh(work); } } }, "Back to the list")),
};

function counting(work, seconds, title, about, then, stopLabel, stopTo) {
  const count = el("p", { class: "count", role: "timer", "aria-label": title }, clock(seconds));
  const ahead = () => {
    play("attention");
    move(work, then);
  };
  work.clock = countdown(seconds, (left) => { count.textContent = clock(left); }, ahead);
  return el("div", { class: "stage" }, el("p", { class: "verdict-line" }, sign("stop"), title), count, el("p", { class: "why" }, about),
    stopLabel ? el("p", {}, el("button", { type: "button", on: { click: () => move(work, stopTo) } }, stopLabel)) : null);
}
