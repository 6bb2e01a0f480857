// Sounds of the bench, made here. Each has a rhythm and a pitch of its own, so that it is told in a noisy shop and
// by ears that hear only one of the two. A note is [hertz, starts at s, lasts s].

import { choice } from "./keep.js";

export const SOUNDS = {
  contact: { words: "the probes touch something", wave: "triangle", notes: [[1050, 0, 0.07]] },
  pass: { words: "settled, and pass", wave: "triangle", notes: [[660, 0, 0.12], [990, 0.14, 0.3]] },
  conditional: { words: "near a limit, or not to be judged", wave: "triangle", notes: [[740, 0, 0.28], [740, 0.4, 0.09], [740, 0.56, 0.28]] },
  fail: { words: "fail", wave: "sawtooth", notes: [[311, 0, 0.32], [233, 0.42, 0.32], [175, 0.84, 0.6]] },
  not_yet: { words: "not passed yet, counts only if it comes again", wave: "sawtooth", notes: [[311, 0, 0.5], [277, 0.62, 0.16]] },
  nothing_felt: { words: "no contact: hold both probes on it and press", wave: "triangle", notes: [[600, 0, 0.2], [600, 0.3, 0.2], [900, 0.6, 0.35]] },
  turn: { words: "turn the dial", wave: "triangle", notes: [[440, 0, 0.08], [554, 0.12, 0.08], [698, 0.24, 0.08], [880, 0.36, 0.22]] },
  wrong_pair: { words: "another pair than asked", wave: "square", notes: [[520, 0, 0.1], [390, 0.12, 0.1], [520, 0.24, 0.1], [390, 0.36, 0.1]] },
  unit_pass: { words: "the unit passed", wave: "triangle", notes: [[523, 0, 0.14], [659, 0.16, 0.14], [784, 0.32, 0.14], [1047, 0.48, 0.5]] },
  unit_fail: { words: "the unit failed", wave: "sawtooth", notes: [[311, 0, 0.14], [311, 0.2, 0.14], [156, 0.42, 0.9]] },
  done: { words: "leads or check standard taken", wave: "triangle", notes: [[880, 0, 0.06], [1175, 0.1, 0.12]] },
  attention: { words: "look at the page", wave: "square", notes: [[1400, 0, 0.05], [1400, 0.09, 0.05], [1400, 0.18, 0.05], [1400, 0.6, 0.05], [1400, 0.69, 0.05], [1400, 0.78, 0.05]] },
};

const LOUDNESS = { triangle: 1, sawtooth: 0.5, square: 0.35 };
const EDGE_S = 0.008;

const REST_MS = 15000;

const GAP_S = 0.12;

let context = null;
let opened = false;
let resting = null;
let speaks = true;
let free_s = 0;

/** "running": sounds can be heard. "locked": the browser wants a click or a key first. "none": it has no sound. */
export function soundState() {
  if (!window.AudioContext) return "none";
  return opened ? "running" : "locked";
}

/** Tries to open the sound; browsers allow it only after a click or key press on this page. */
export async function unlock(changed) {
  if (!window.AudioContext) return;
  context ??= new AudioContext();
  if (context.state === "suspended" && !opened) await context.resume().catch(() => {});
  if (context.state === "running" && !opened) {
    opened = true;
    takeTheFloor();
    restSoon();
  }
  changed?.();
}

/** Of several pages of one browser only one is heard. Without locks (plain LAN address) each is. */
function takeTheFloor() {
  if (takeTheFloor.asked || !navigator.locks) return;
  takeTheFloor.asked = true;
  speaks = false;
  navigator.locks.request("steadyohm-sound", () => {
    speaks = true;
    return new Promise(() => {});
  }).catch(() => { speaks = true; });
}

/** Whether this page is the one that is heard. */
export const hasTheFloor = () => speaks;

/** Plays a sound by name at the chosen volume, after what is being told: a verdict is heard to its end. `anyway` also when muted (trying it out). */
export async function play(name, anyway = false) {
  const sound = SOUNDS[name];
  if (!sound || !opened || !(anyway || (choice().sound && speaks))) return;
  if (context.state !== "running") await context.resume().catch(() => {});
  if (context.state !== "running") return;
  const now = context.currentTime + 0.01;
  const start = name === "contact" ? now : Math.max(now, free_s);
  const [, last_s, lasts_s] = sound.notes.at(-1);
  free_s = Math.max(free_s, start + last_s + lasts_s + GAP_S);
  for (const note of sound.notes) one(note, sound.wave, start);
  restSoon();
}

/** A sound card kept open costs power and CPU: it is let go after a while and opened again for the next sound. */
function restSoon() {
  clearTimeout(resting);
  resting = setTimeout(() => context.suspend().catch(() => {}), REST_MS);
}

function one([hertz, at_s, for_s], wave, start) {
  const tone = context.createOscillator();
  const level = context.createGain();
  tone.type = wave;
  tone.frequency.value = hertz;
  const loud = 0.8 * choice().volume * LOUDNESS[wave];
  const [from, to] = [start + at_s, start + at_s + for_s];
  level.gain.setValueAtTime(0, from);
  level.gain.linearRampToValueAtTime(loud, from + EDGE_S);
  level.gain.setValueAtTime(loud, to - EDGE_S);
  level.gain.linearRampToValueAtTime(0, to);
  tone.connect(level).connect(context.destination);
  tone.start(from);
  tone.stop(to + 0.01);
}

