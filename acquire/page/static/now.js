// The bench screen: what to touch, what it reads, what it means. Fills only the parts that changed.

import { el, forget, pairText, part, say, svg } from "./dom.js";
import { drawCircuit } from "./circuit.js";
import { drawFace, pieces, wantsRoom } from "./face.js";
import { fitted, parts, valueDrawn, wideOf } from "./digits.js";
import { drawJaws, drawScale } from "./scale.js";
import { judged, reach, view } from "./now_view.js";
import { sign } from "./signs.js";
import { startForm } from "./start_unit.js";
import { drawBatch, drawSteps } from "./steps.js";
import { address } from "./router.js";
import { orderButton } from "./order_button.js";
import { typedReading } from "./typed_reading.js";

/** Screens too low or narrow, and lists too long, for steps in rows: they stand in one line above all else. */
const LOW = matchMedia("(max-height: 36rem), (max-width: 30rem)");
const MANY = 16;

/** Opens the screen; `bench` has state(), trace, linkUp(). */
export function openNow(main, bench) {
  const place = Object.fromEntries(["band", "big", "note", "picture", "reason", "next", "face", "circuit", "start", "read", "press", "undo", "steps", "batch"].map((name) => [name, el("div", { class: `now-${name}` })]));
  main.append(
    el("h1", { class: "unseen" }, "Bench"),
    el("section", { class: "now-plug", "aria-label": "Connector and circuit" }, place.face, place.circuit),
    el("section", { class: "now-value", "aria-label": "Reading and verdict" }, place.band, place.big, place.note, place.picture, place.reason, place.next),
    el("section", { class: "now-work", "aria-label": "Unit and batch" }, place.start, place.read, place.press, place.undo, place.steps, place.batch),
  );
  const redraw = () => {
    forget(place.face);
    draw(place, bench);
  };
  Object.assign(place, { redraw, main });
  draw(place, bench);
  const turned = () => draw(place, bench);
  LOW.addEventListener("change", turned);
  return {
    close: () => LOW.removeEventListener("change", turned),
    state: turned,
    link: turned,
  };
}

function draw(place, bench) {
  const state = bench.state();
  if (!state) return;
  const seen = lasting(place, state, bench);
  const live = bench.linkUp();
  part(place.band, [seen.band, live], () => drawBand(live ? seen.band : { name: "lost", shape: "lost", word: "not live", detail: ["no link", "to the daemon"] }));
  const stale = !live || seen.big.stale === true;
  part(place.big, [seen.big, stale], () => drawBig(seen.big, stale));
  say(place.note, stale && seen.big.value ? "not live: the last value received" : seen.note ?? "");
  drawPicture(place.picture, seen, state, bench);
  part(place.reason, [seen.reason, seen.hint, seen.probe], () => [
    seen.reason ? el("p", { class: "why" }, seen.reason) : null,
    seen.hint ? el("p", { class: "hint" }, seen.hint) : null,
    seen.probe && !state.bench?.study ? el("p", { class: "probe" }, seen.probe) : null,
  ]);
  part(place.next, seen.next ?? null, (next) => (next ? drawNext(next) : null));
  const asked = state.ask?.pair ?? null;
  const order = [...(state.face?.pins ?? []).map((pin) => pin.name), ...(state.face?.core ? [state.face.core] : [])];
  const name = state.sheet?.name ?? "";
  place.main.dataset.plug = state.face ? wantsRoom(state.face, name) : "";
  place.main.dataset.asked = asked ? "pins" : "";
  const cuts = state.face ? pieces(state.face, name, place.face.clientWidth) : 1;
  part(place.face, [state.face, asked, cuts], () => (state.face ? drawFace(state.face, asked, name, place.redraw, cuts) : null));
  part(place.circuit, [state.circuit, asked], () => (state.circuit ? drawCircuit(state.circuit, order, asked) : null));
  const free = !state.unit || state.unit.ended;
  const { study } = state.bench ?? {};
  part(place.start, [free, study, state.orders], () => (free && !study && state.orders !== false ? startForm() : null));
  part(place.read, [!free && state.bench?.typed, state.orders], () => (!free && state.bench?.typed && state.orders !== false ? typedReading() : null));
  const press = state.ask?.why === "silent" ? "Both probes are on it" : study && state.phase === "wait" ? "I have the probes" : "";
  part(place.press, [press, state.orders], () => (press && state.orders !== false ? orderButton(bench, press, "confirm_open") : null));
  part(place.undo, [state.undoable, state.orders], () => (state.undoable && state.orders !== false ? orderButton(bench, "Undo", "undo", {}, "", false) : null));
  place.main.dataset.steps = LOW.matches || state.unit?.steps.length > MANY ? "line" : "";
  part(place.steps, [state.unit, place.main.dataset.steps], () => (state.unit ? drawSteps(state.unit) : null));
  bringIntoView(place.steps);
  part(place.batch, state.batch, () => (state.batch ? drawBatch(state.batch) : null));
}

/** The step that is asked for is always to be seen, whatever scrolls around it. */
function bringIntoView(steps) {
  const [list, step] = [steps.querySelector(".steps"), steps.querySelector("[aria-current]")];
  if (!step) return;
  list.scrollLeft = step.offsetLeft - (list.clientWidth - step.offsetWidth) / 2;
  list.scrollTop = step.offsetTop - (list.clientHeight - step.offsetHeight) / 2;
}

const STAYS_MS = 1500;
const MAY_WAIT = new Set(["ended", "touch", "duty", "idle", "lift", "wait"]);

/** What is to be seen: a verdict stays for a while, whatever follows it, unless the probes touch again. */
function lasting(place, state, bench) {
  const { verdict, phase } = state;
  const key = verdict ? [verdict.serial, verdict.step, verdict.attempt, verdict.revision, verdict.utc_s].join() : "";
  if (key !== place.key) {
    place.since = place.key === undefined ? -STAYS_MS : performance.now();
    place.key = key;
  }
  clearTimeout(place.later);
  const left_ms = place.since + STAYS_MS - performance.now();
  if (!verdict || left_ms <= 0 || !MAY_WAIT.has(phase)) return view(state);
  place.later = setTimeout(() => place.face.isConnected && draw(place, bench), left_ms + 5);
  return judged(state);
}

function drawNext({ pair, step, text, again, turn }) {
  return el("p", { class: "next-touch" }, turn ? [el("span", {}, "turn the dial"), sign("turn"), el("b", {}, turn)] : null, el("span", {}, again ? "again" : turn ? "then" : "next"), sign("A", "A"), el("b", {}, pair[0]), sign("B", "B"), el("b", {}, pair[1]), el("span", { class: "next-step" }, text || step));
}

function drawBand(band) {
  const word = el("strong", { class: "word" }, band.word);
  word.style.setProperty("--wide", wideOf(band.word));
  return el("div", { class: `band band-${band.name}`, "data-state": band.name },
    sign(band.shape), word, el("span", { class: "detail" }, (band.detail ?? []).map((line) => el("span", {}, line))));
}

function drawBig(big, stale) {
  const kind = `big${big.bold ? " bold" : ""}${stale ? " stale" : ""}`;
  const late = stale ? ", not live" : "";
  if (big.pair) return el("div", { class: `${kind} pair` }, onePin(big.pair[0], "A", big.pins?.[0]), el("span", { class: "to", "aria-hidden": "true" }), onePin(big.pair[1], "B", big.pins?.[1]));
  if (big.value) return el("div", { class: `${kind} value` }, valueDrawn(big.value, big.unit, `${big.value} ${big.unit}${late}`, big.bold));
  return fitted(big.open ? "OPEN" : big.words, `${kind} ${big.open ? "value" : big.name ? "name" : "words"}`);
}

function onePin(name, mark, about) {
  return el("div", { class: "one-pin" }, sign(mark, mark), fitted(name), about ? el("span", { class: "pin-about" }, about) : null);
}

function drawPicture(node, seen, state, bench) {
  if (seen.picture === "trace") {
    part(node, ["trace", seen.rest?.word], () => [bench.trace.node, el("div", { class: "jaws-place" })]);
    bench.trace.draw();
    const rest = seen.rest ?? { share: 0, word: "" };
    part(node.querySelector(".jaws-place"), rest, () => [drawJaws(rest.share, rest.word), el("span", { class: "rest-word" }, rest.word)]);
  } else if (seen.picture === "scale") {
    part(node, ["scale", state.verdict], () => drawScale(state.verdict));
  } else if (seen.picture === "last") {
    part(node, ["last", state.verdict], () => (state.verdict ? lastLine(state.verdict) : null));
  } else if (seen.picture === "dial") {
    part(node, "dial", () => el("div", { class: "dial" }, sign("turn")));
  } else if (seen.picture === "tips") {
    part(node, "tips", tips);
  } else if (seen.picture === "result") {
    part(node, ["result", seen.result, state.verdict], () => drawResult(seen.result, state.verdict));
  } else {
    part(node, "", () => null);
  }
}

function lastLine(verdict) {
  const value = parts(verdict.text).slice(0, 2).filter(Boolean).join(" ");
  return el("p", { class: "last", "data-outcome": verdict.outcome }, el("span", {}, "just now"), sign(verdict.outcome), el("span", {}, verdict.word),
    el("b", {}, pairText(verdict.pair)), el("b", {}, value), el("span", {}, reach(verdict)));
}

function tips() {
  return svg("svg", { class: "tips", viewBox: "0 0 400 80", "aria-hidden": "true" }, svg("path", { d: "M6 20L190 38M394 20L210 38M196 40H204" }), svg("path", { class: "grip", d: "M6 20L110 30M394 20L290 30" }));
}

function drawResult(result, verdict) {
  const first = result.diagnosis?.[0];
  return el("div", { class: "ended" },
    first ? el("p", { class: "diagnosis" }, `${first.sentence} `, el("small", {}, sure(first))) : null,
    verdict && result.outcome ? lastLine(verdict) : null,
    el("p", {}, el("a", { class: "more", href: address("units", result.serial) }, "All of this unit")));
}

/** How sure an explanation is, in words that never claim certainty. */
export const sure = ({ sureness, probability }) => `${sureness ?? (probability > 0.99 ? "over 99 %" : `${Math.round(100 * probability)} %`)} sure`;

