// What the bench screen says of a state, as plain data. Pure: no document, no clock.

import { pairText } from "./dom.js";
import { parts } from "./digits.js";
import { limitsText } from "./scale.js";

const DUTIES = { short_probes: "hold tips together", check_resistor: "check standard", lift: "lift", clip_on: "clip on" };

/**
 * The band (state, shape, word, detail), what stands big (value, pair or words), which picture goes below it
 * ("trace", "scale", "last", "tips", "dial", "result" or none), and the sentences below that.
 */
export function view(state) {
  const { phase, verdict } = state;
  const draw = { lost, stopped, settling: moving, settled: moving, other_pair: otherPair, ended, idle, lift: words, duty, wait: words }[phase] ?? asking;
  return phase === "verdict" && verdict ? judged(state) : draw(state);
}

const band = (name, word, detail = [], shape = name) => ({ name, shape, word, detail: [detail].flat().filter(Boolean) });

const gravest = (state) => (state.warnings ?? []).find((one) => one.severity === "stop")?.text ?? "";

function lost(state) {
  return { band: band("lost", "no meter"), big: state.reading?.kind === "value" ? { ...valueOf(state.reading), stale: true } : { words: "No reading" }, picture: "", reason: gravest(state) ? "" : state.ask?.text ?? "" };
}

function stopped(state) {
  return { band: band("stop", "stopped"), big: { words: "No verdicts now" }, picture: "", reason: gravest(state) || state.ask?.text || "", probe: probeWords(state.reading) };
}

/** A verdict, with the request that follows it. */
export function judged({ verdict, ask, hint, reading, phase }) {
  const name = verdict.shape ?? verdict.outcome;
  const touch = ["touch", "touch_again"].includes(ask?.kind);
  const [value, unit] = parts(verdict.text);
  const uncounted = verdict.counts === false ? "counts only if it comes again" : "";
  return {
    band: band(name, verdict.word, [pairText(verdict.pair), verdict.step]),
    big: value === null ? { words: verdict.text, open: verdict.reference_ohm === null, bold: true } : { value, unit, bold: true },
    picture: value === null ? "" : "scale", note: [reach(verdict), uncounted].filter(Boolean).join("  ·  "), reason: verdict.reason ?? "", hint: verdict.hint || hint || "",
    next: touch && phase === "verdict" ? { pair: ask.pair, step: ask.step, turn: ask.turn, text: ask.plain || ask.turn || verdict.hint || hint ? "" : ask.text, again: ask.kind === "touch_again" } : null, probe: reading?.kind === "value" ? "" : probeWords(reading),
  };
}

/** "± 0.45 Ω at 20 °C". */
export function reach(verdict) {
  const [value, unit, reached] = parts(verdict.text);
  const half = reached ? `± ${reached} ${unit}` : "";
  const at = value !== null && Number.isFinite(verdict.reference_celsius) ? `at ${verdict.reference_celsius} °C` : "";
  return [half, at].filter(Boolean).join(" ");
}

function ended({ result, ask }) {
  if (!result) return idle({ ask });
  const held = result.ending === "warm";
  const name = result.outcome ?? (held ? "held" : "left_out");
  const word = result.outcome ? `unit: ${result.word}` : held ? "unit held" : "ended early";
  return {
    band: band(name, word, result.outcome ? result.not_tested ?? [] : ""), big: { words: result.serial, name: true }, picture: "result",
    reason: result.diagnosis?.length ? result.found ?? "" : result.reason, hint: ask?.text ?? "", result,
  };
}

function moving({ phase, reading, ask, rest }) {
  const settled = phase === "settled";
  return {
    band: band(phase, settled ? "settled" : "settling", [pairText(ask?.pair), ask?.step]),
    big: { ...valueOf(reading), bold: settled }, picture: "trace", note: "as the meter shows it, live", rest,
  };
}

function otherPair({ hint, reading, ask, face }) {
  return {
    band: band("other_pair", "wrong pair", ["wanted", [pairText(ask?.pair), ask?.step].filter(Boolean).join(" ")]), big: ask?.pair ? { pair: ask.pair, pins: aboutPins(face, ask.pair) } : { words: "wrong pair" },
    picture: "", hint: hint || "That reads like another pair.", probe: probeWords(reading),
  };
}

function duty({ ask, reading, rest, hint }) {
  const tips = ask?.kind === "short_probes";
  const touching = reading?.kind === "value" && rest;
  return {
    band: band("touch", DUTIES[ask?.kind] ?? "before work", ask?.step ?? ""), big: touching ? valueOf(reading) : { words: ask?.text ?? "" },
    picture: touching ? "trace" : tips ? "tips" : "", rest, note: touching ? "as the meter shows it, live" : "", reason: touching ? ask?.text ?? "" : "", hint: hint ?? "", probe: touching ? "" : probeWords(reading),
  };
}

function idle({ ask }) {
  return { band: band("waiting", "next unit"), big: { words: ask?.text ?? "" }, picture: "" };
}

function words({ phase, ask, hint }) {
  return { band: band(phase === "lift" ? "touch" : "held", phase === "lift" ? "lift" : "wait", "", phase === "lift" ? "lift" : "held"), big: { words: ask?.text ?? "" }, picture: "", hint: hint ?? "" };
}

/** Colour of a pin's wire and what it belongs to, "" where the sheet says nothing. */
function aboutPins(face, pair) {
  return pair.map((name) => {
    const pin = face?.pins?.find((one) => one.name === name);
    return pin ? [pin.colour, pin.remark].filter(Boolean).join(": ") : name === face?.core ? "bare metal" : "";
  });
}

function asking({ ask, reading, hint, face, unit }) {
  const pair = ask?.pair ?? null;
  if (ask?.turn) return { band: band("turn", "turn the dial", [pairText(pair), ask.step]), big: { words: ask.turn, name: true }, picture: "dial", reason: ask.text, hint: hint ?? "" };
  const silent = ask?.why === "silent";
  const again = ask?.kind === "touch_again";
  const step = unit?.steps?.find((one) => one.name === ask?.step);
  return {
    band: band("touch", silent ? "no contact" : again ? "touch again" : "touch", [ask?.step, step && limitsText(step)]),
    big: pair ? { pair, pins: aboutPins(face, pair) } : { words: ask?.text ?? "" },
    picture: "last", reason: pair && !ask.plain ? ask.text : "", hint: hint ?? "", probe: probeWords(reading),
  };
}

function probeWords(reading) {
  if (!reading || reading.silent || reading.kind === "none") return "the meter shows nothing";
  return reading.kind === "overload" ? "probes in the air" : `the meter shows ${reading.text}`;
}

function valueOf(reading) {
  if (!reading || reading.kind === "none") return { words: "no reading" };
  if (reading.kind === "overload") return { words: "open", open: true };
  const [value, unit] = parts(reading.text);
  return value === null ? { words: reading.text } : { value, unit };
}
