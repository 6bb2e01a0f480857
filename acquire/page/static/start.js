// Ties the page together: link, screens, sounds, speech, keys. Each of them knows nothing of the others.

import { choice, choose, onChoice } from "./keep.js";
import { el, part, say } from "./dom.js";
import { Keys } from "./keys.js";
import { Link } from "./link.js";
import { hasTheFloor, play, soundState, unlock } from "./sounds.js";
import { openBatch } from "./batch.js";
import { openCheck } from "./check.js";
import { openHandsOff, underVoltage } from "./hands_off.js";
import { openLeads } from "./leads.js";
import { openNow } from "./now.js";
import { openSenses } from "./senses.js";
import { openSetup } from "./setup.js";
import { openSheet } from "./sheet.js";
import { openStudy } from "./study.js";
import { openUnits } from "./units.js";
import { order } from "./orders.js";
import { Router } from "./router.js";
import { scanned as startScanned, showQuestion } from "./start_unit.js";
import { sign } from "./signs.js";
import { speak } from "./speech.js";
import { Trace } from "./trace.js";
import { Warnings } from "./warnings.js";

const at = (id) => document.getElementById(id);

const bench = {
  trace: new Trace(),
  state: () => link?.state ?? null,
  linkUp: () => link?.up ?? false,
  now_s: () => (link?.clock.utc_s ?? 0) + ((performance.now() - (link?.clock.at ?? 0)) / 1000) * (link?.clock.speed ?? 1),
  left_s: (until_utc_s) => link?.left_s(until_utc_s) ?? 0,
  tell,
};

const screens = {
  now: { title: "Bench", open: (main) => openNow(main, bench) },
  units: { title: "Units", open: (main, about) => openUnits(main, about, bench) },
  batch: { title: "Batch", open: (main, about) => openBatch(main, about, bench) },
  leads: { title: "Leads and check", open: openDuties },
  "hands-off": { title: "Hands-off tests", open: (main) => openHandsOff(main, bench) },
  setup: { title: "Setup", open: (main) => openSetup(main, bench) },
  sheet: { title: "Sheet", open: (main, about) => void openSheet(main, about) },
  study: { title: "Gauge study", open: (main, about) => void openStudy(main, about) },
  senses: { title: "Sound and keys", open: (main) => openSenses(main, bench) },
};

/** What a bench owes each day: lead zero and check standard. */
function openDuties(main) {
  const both = [openLeads(main, bench), openCheck(main, bench)];
  return { state: (...now) => both.forEach((each) => each.state(...now)) };
}

const warnings = new Warnings(at("warnings"), bench.left_s, tell);
const router = new Router(at("main"), at("screens"), screens);
const keys = new Keys({ scanned, act: pressed });
bench.keys = keys;
let told = null;
let before = null;

/** Whether a warning says it already. */
const warned = (text) => Boolean(text) && Boolean(bench.state()?.warnings?.some((one) => one.text === text));

/** A short message below the strip; good news goes away by itself. */
function tell(words, good = false) {
  clearTimeout(told);
  const text = warned(words) ? "" : words;
  part(at("told"), text, () => (text ? [sign(good ? "info" : "warning"), el("span", {}, text)] : null));
  if (text) told = setTimeout(() => tell(""), good ? 4000 : 12000);
}

/** Keys and pedal belong to the bench screen: nobody may order something that he does not see. */
async function pressed(name) {
  if (router.name !== "now") return tell("Keys and pedal act on the bench screen only.");
  const answer = await order(name);
  if (!answer.done) tell(answer.reason);
  return null;
}

async function scanned(code) {
  if (router.name === "setup" || underVoltage()) return tell("Not now: a scan starts a unit when this is finished.");
  return startScanned(code, tell, () => Boolean(bench.state()?.question));
}

function onState(state, changed) {
  if (!changed) {
    bench.trace.take({ new: true, points: state.trace ?? [] });
    strip(state);
    document.body.dataset.mode = state.mode ?? "bench";
    if (state.mode === "setup" && !["setup", "sheet", "study"].includes(router.name)) location.hash = "#setup";
    if (state.mode !== "setup" && before === "setup" && ["setup", "study"].includes(router.name)) location.hash = "#now";
    before = state.mode;
  }
  if (!changed || changed.includes("warnings") || changed.includes("orders")) warnings.show(state.warnings, state.orders);
  if (warned(at("told").textContent)) tell("");
  if (!changed || changed.includes("question") || changed.includes("orders")) showQuestion(at("question"), state, tell);
  if (!changed || changed.includes("ask") || changed.includes("verdict")) announce(state);
  router.open?.state?.(state, changed);
}

function strip(state) {
  const { name, purpose_word: purpose, meter, operator, demo } = state.bench ?? {};
  say(at("bench-name"), name ?? "steadyohm");
  say(at("bench-more"), state.mode === "setup" ? "no bench is running yet" : [state.sheet?.name, purpose, meter, operator, demo && "DEMO, nothing is real"].filter(Boolean).join("  ·  "));
}

/** For those who hear the page read out. */
function announce(state) {
  const verdict = state.phase === "verdict" && state.verdict ? `${state.verdict.word}: ${state.verdict.text ?? ""}. ${state.verdict.reason ?? ""}` : "";
  say(at("spoken"), verdict || state.ask?.text || "");
}

function onCue(cue) {
  if (cue.sound) play(cue.sound);
  if (cue.say && link.state?.bench?.speech !== "machine") speak(cue.say, { urgent: cue.urgent });
  say(at("cue"), cue.sound ?? "");
}

function onLink({ up, seen, again, restarted, text }) {
  document.body.dataset.link = up ? "up" : "lost";
  const last = seen ? `Last heard ${new Date(seen).toLocaleTimeString("en-GB")}.` : "Nothing heard yet.";
  part(at("lost"), up ? "" : [last, text], () => (up ? null : [sign("lost"), el("strong", {}, text || "No link to the daemon."),
    el("span", {}, `${last} Nothing on this page is live. It reconnects automatically.`)]));
  if (!up && !text) play("attention");
  if (again || restarted) tell(restarted ? "The daemon has restarted: the page is live again." : "The link is back: the page is live again.", true);
  router.open?.link?.(up);
}

function onTrace(points) {
  bench.trace.take(points);
}

function drawSenses() {
  const state = soundState();
  const { sound, theme, speech } = choice();
  document.documentElement.dataset.theme = theme;
  const mute = sound && state !== "running";
  const words = { none: "No sound here", locked: "Sound needs one click or key", running: `Sound on${speech ? ", speech on" : ""}` }[state];
  at("sound").setAttribute("aria-pressed", String(sound));
  part(at("sound"), [sound, words], () => [mute ? sign("warning") : null, el("span", {}, sound ? words : "Sound off")]);
}

at("sound").addEventListener("click", () => choose({ sound: !choice().sound }));
for (const event of ["pointerdown", "keydown"]) document.addEventListener(event, () => unlock(drawSenses), true);
onChoice(drawSenses);
drawSenses();
unlock(drawSenses);
const link = new Link({ state: onState, trace: onTrace, cue: onCue, link: onLink, setup: (progress) => router.open?.setup?.(progress) }, () => soundState() !== "running" || !hasTheFloor());
router.changed = () => router.open?.state && bench.state() && router.open.state(bench.state(), null);
router.follow();
