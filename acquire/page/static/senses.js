// Sound, speech, keys and look: what this browser remembers for whoever works here.

import { choice, choose, onChoice } from "./keep.js";
import { el } from "./dom.js";
import { head } from "./pieces.js";
import { onVoices, speak, voices } from "./speech.js";
import { play, SOUNDS, soundState } from "./sounds.js";

const ACTS = {
  confirm_open: ["The probes are on the pair", "for a pair that must be open, or that stays open"],
  measure_again: ["Measure the last step again", "lifting and touching the same pair does it too"],
};

/** Opens the screen. */
export function openSenses(main, bench) {
  main.append(...head("Sound and keys", "Kept in this browser, for this machine."));
  const place = el("div", { class: "two" });
  main.append(place);
  let shown = true;
  const draw = () => shown && place.replaceChildren(el("div", { class: "stage" }, keysCard(bench, draw), speechCard(bench), lookCard()), soundCard());
  draw();
  onChoice(draw);
  onVoices(draw);
  return { close: () => { shown = false; } };
}

function soundCard() {
  const { sound, volume } = choice();
  const range = el("input", { id: "volume", type: "range", min: 0, max: 1, step: 0.1, value: volume, on: { change: () => choose({ volume: Number(range.value) }) } });
  return el("section", { class: "card stage" }, el("h2", {}, "Sound"),
    tick("with-sound", "Sounds on", sound, (on) => choose({ sound: on })),
    el("p", { class: "find" }, el("label", { for: "volume" }, "Volume"), range),
    soundState() === "none" ? el("p", {}, "This browser has no sound.") : el("ul", {}, Object.entries(SOUNDS).map(([name, { words }]) => el("li", { class: "keys-row" }, el("span", {}, words),
      el("button", { type: "button", "aria-label": `Hear: ${words}`, on: { click: () => play(name, true) } }, "Hear")))));
}

function speechCard(bench) {
  const found = voices();
  const machine = bench.state()?.bench?.speech === "machine";
  const list = el("select", { id: "voice", on: { change: () => choose({ voice: list.value }) } }, found.map((voice) => el("option", { value: voice.name, selected: voice.name === choice().voice }, `${voice.name} (${voice.lang})`)));
  const have = machine ? el("p", {}, "The machine of the bench speaks by itself; this page does not.")
    : found.length ? el("p", { class: "find" }, el("label", { for: "voice" }, "Voice"), list, el("button", { type: "button", on: { click: () => speak("1 and 2. Pass.", { anyway: true, urgent: true }) } }, "Hear"))
      : el("p", {}, "This browser has no voices, so it cannot speak. The machine of the bench can, if its bench file says so.");
  return el("section", { class: "card stage" }, el("h2", {}, "Speech"), el("p", { class: "quiet" }, "Says the next pins and the verdict. Goes silent with the sounds."),
    tick("with-speech", "Speech on", choice().speech, (on) => choose({ speech: on })), have);
}

function keysCard(bench, draw) {
  return el("section", { class: "card stage" }, el("h2", {}, "Keys and pedal"),
    el("p", { class: "quiet" }, "A pedal is a keyboard with one key: press “Learn”, then the pedal. Held down it counts once. A scanner needs no setting: a code and Enter, typed fast, is a serial. Keys never act while you type in a field."),
    Object.entries(ACTS).map(([name, [label, about]]) => keyRow(bench, draw, name, label, about)));
}

function keyRow(bench, draw, name, label, about) {
  const key = choice().keys[name];
  const learn = el("button", { type: "button", "aria-label": `Learn a key: ${label}` }, "Learn");
  learn.addEventListener("click", () => {
    learn.textContent = "Press it now … (Esc: cancel)";
    bench.keys.learn((pressed) => {
      if (pressed) choose({ keys: { ...without(pressed), [name]: pressed } });
      draw();
    });
  });
  return el("div", { class: "keys-row", "data-act": name }, el("span", {}, el("b", {}, label), el("br"), el("span", { class: "quiet" }, about)),
    key ? el("kbd", {}, key) : el("span", { class: "quiet" }, "no key"), learn,
    key ? el("button", { type: "button", "aria-label": `Take the key away: ${label}`, on: { click: () => choose({ keys: { ...choice().keys, [name]: "" } }) } }, "None") : null);
}

/** One key does one thing: whoever had it before loses it. */
const without = (pressed) => Object.fromEntries(Object.entries(choice().keys).map(([name, key]) => [name, key === pressed ? "" : key]));

function lookCard() {
  const looks = { auto: "as the machine is set", light: "light", dark: "dark" };
  return el("section", { class: "card stage" }, el("h2", {}, "Look"), el("fieldset", { class: "plain" }, el("legend", { class: "unseen" }, "Look"), Object.entries(looks).map(([name, words]) =>
    el("label", { class: "check" }, el("input", { type: "radio", name: "look", value: name, checked: choice().theme === name, on: { change: () => choose({ theme: name }) } }), words))));
}

function tick(id, label, on, set) {
  const box = el("input", { id, type: "checkbox", checked: on, on: { change: () => set(box.checked) } });
  return el("label", { class: "check", for: id }, box, label);
}
