// Insulation, surge, high-potential and other deliberate tests. Nothing here is hands-free: cautions first, then a
// confirmation that has to be held, then the clock, then the result is typed. The page starts no instrument.

import { clock, el, part } from "./dom.js";
import { countdown } from "./countdown.js";
import { getJson } from "./orders.js";
import { head, outcomeCell } from "./pieces.js";
import { holdButton } from "./hold.js";
import { limitsText } from "./scale.js";
import { play } from "./sounds.js";
import { resultForm } from "./result_form.js";
import { sign } from "./signs.js";

/** Beside the daemon's own cautions, where one of the tests has a voltage. Common practice, no source. */
const OF_VOLTAGE = [
  "One hand behind the back while a voltage is on. Keep off the core, the leads and the clips.",
  "Discharge the winding before the clips come off, and let the countdown run out.",
  "A pass says that these tests were passed; turns that touch each other need a test of their own.",
];

/** Beside them for every test. Common practice, no source. */
const MORE = [
  "Take the leads of the bench's meter off the unit: the test voltage destroys it. Capacitors of an ignition unit hold hundreds of volts: discharge them first.",
  "A tester that sends 0.1 A or more through a large winding kicks when its probe is lifted: wait until the current is zero.",
  "A part from the oven burns and gives no verdict. Keep solvent vapour away from sparks. Strong magnets harm pacemakers.",
];

const STAGES = ["cautions", "test running", "discharging", "done"];

/** What is under way outlives a change of screen: a discharge must not be forgotten because somebody looked elsewhere. */
let under = { test: null, at: "cautions", until: 0, said: "" };

/** Whether a test voltage may be on, or what it charged is not discharged yet. */
export const underVoltage = () => under.at === "test running" || under.at === "discharging";

/** Opens the screen. */
export function openHandsOff(main, bench) {
  const list = el("section", { class: "card" });
  const stage = el("section", { class: "card danger" });
  const work = { bench, list, stage, plain: null, clock: null };
  main.append(...head("Hands-off tests", "Insulation, surge, high potential, and whatever else another instrument measures. Started deliberately, with clips; the result is typed in here."), cautionsCard(work), list, stage);
  stage.hidden = true;
  refresh(work).then(() => drawStage(work));
  return { close: () => work.clock?.stop(), state: (_, changed) => changed?.includes("unit") && under.at === "cautions" && refresh(work) };
}

function cautionsCard(work) {
  const node = el("ul", { class: "cautions" });
  work.cautions = node;
  return el("section", { class: "card danger" }, el("div", { class: "danger-head" }), el("div", { class: "danger-body" }, el("h2", {}, "Before anything is switched on"), node));
}

async function refresh(work) {
  const answer = await getJson("/tests");
  work.plain = answer.plain ?? { tests: [], cautions: [] };
  const cautions = [...(work.plain.cautions?.length ? [...work.plain.cautions, ...OF_VOLTAGE] : ["Clips on, hands off: never hold the probes while a test voltage is on."]), ...MORE];
  part(work.cautions, cautions, () => cautions.map((text) => el("li", {}, sign("warning"), el("span", {}, text))));
  drawList(work, answer.ok ? "" : answer.text);
}

function drawList(work, problem) {
  const tests = work.plain.tests ?? [];
  part(work.list, [work.plain.serial, tests, problem, under.test?.name, under.at], () => [
    el("h2", {}, work.plain.serial ? `Tests of ${work.plain.serial}` : "No unit is on the bench"),
    problem ? el("p", {}, problem) : null,
    tests.length ? el("ul", { class: "stage" }, tests.map((test) => oneTest(work, test))) : el("p", { class: "quiet" }, "The sheet asks for none."),
  ]);
}

function oneTest(work, test) {
  const busy = underVoltage();
  const choosing = { type: "button", disabled: busy || !work.plain.serial, "aria-pressed": String(under.test?.name === test.name), on: { click: () => choose(work, test) } };
  return el("li", { class: "keys-row" }, el("span", {}, el("b", {}, titleOf(test)), ` ${test.groups.map((group) => group.join(", ")).join("  to  ")}`, el("br"),
    el("span", { class: "quiet" }, [test.volts && `${test.volts} V`, limitsText(test)].filter(Boolean).join(", "))),
  test.given ? outcomeCell(test.given.outcome, test.given.word || test.given.typed) : el("span", { class: "quiet" }, "not tested"), el("button", choosing, test.given ? "Test again" : "Test this"));
}

/** A step has a name of its own; an isolation is named by its groups, which stand beside it. */
const titleOf = (test) => (test.kind ? test.name : "Insulation");

function choose(work, test) {
  move(work, test.may_shock ? "cautions" : "typed", { test, said: "" });
  work.stage.scrollIntoView({ block: "nearest" });
}

/** Goes on to a stage; `seconds` is how long it lasts by itself. */
function move(work, at, { seconds = 0, ...more } = {}) {
  under = { ...under, ...more, at, until: performance.now() + 1000 * seconds };
  drawList(work, "");
  drawStage(work);
}

function drawStage(work) {
  const { test, at } = under;
  work.clock?.stop();
  work.stage.hidden = !test;
  if (!test) return;
  work.stage.replaceChildren(el("div", { class: "danger-head" }), el("div", { class: "danger-body stage" },
    el("h2", {}, titleOf(test)),
    at === "typed" ? null : el("ol", { class: "trail" }, STAGES.map((name) => el("li", { "aria-current": name === at ? "step" : null }, name))),
    STAGE[at](work, test)));
}

const STAGE = {
  cautions: (work, test) => el("div", { class: "stage" },
    el("p", { class: "why" }, "The clips are on, the unit is alone on the bench, nobody touches it."),
    el("p", {}, "Keep the button, the space bar or Enter pressed for two seconds. Then start the instrument."),
    holdButton("Clips on, hands off: hold for 2 s", () => move(work, "test running", { seconds: test.charge_s || 0 }))),

  "test running": (work, test) => el("div", { class: "stage" },
    ...(test.charge_s ? counting(work, "Test running: hands off", () => discharge(work, test)) : [el("p", { class: "verdict-line" }, sign("stop"), "Test running: hands off")]),
    el("p", { class: "why" }, test.charge_s ? "Read the instrument when the clock is at zero, then switch the test voltage off." : "Read the instrument, then switch the test voltage off."),
    el("p", {}, el("button", { type: "button", on: { click: () => discharge(work, test) } }, "The voltage is off: discharge now"))),

  discharging: (work, test) => el("div", { class: "stage" },
    ...counting(work, "Voltage off. Discharging: do not touch", () => move(work, "done")),
    resultOrSaid(work, test)),

  typed: (work, test) => el("div", { class: "stage" }, resultOrSaid(work, test), back(work)),

  done: (work, test) => el("div", { class: "stage" }, el("p", { class: "why" }, "The time for discharging is over. Take the clips off; check with a voltmeter if in doubt."),
    resultOrSaid(work, test),
    back(work)),
};

function back(work) {
  const leave = () => {
    move(work, "cautions", { test: null });
    refresh(work);
  };
  return el("p", {}, el("button", { type: "button", on: { click: leave } }, "Back to the list"));
}

const discharge = (work, test) => move(work, "discharging", { seconds: test.discharge_s || 60 });

function resultOrSaid(work, test) {
  if (under.said) return el("p", { class: "why", role: "status" }, under.said);
  const box = el("div", {}, resultForm(work, test, (answer) => {
    under.said = answer;
    box.replaceChildren(el("p", { class: "why", role: "status" }, answer));
    refresh(work);
  }));
  return box;
}

function counting(work, title, then) {
  const count = el("p", { class: "count", role: "timer", "aria-label": title });
  const ahead = () => {
    play("attention");
    then();
  };
  work.clock = countdown((under.until - performance.now()) / 1000, (left) => { count.textContent = clock(left); }, ahead);
  return [el("p", { class: "verdict-line" }, sign("stop"), title), count];
}
