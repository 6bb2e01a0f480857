// Says the next pins and the verdict, where the browser has voices. What is urgent cuts short what is being said.

import { choice } from "./keep.js";
import { hasTheFloor } from "./sounds.js";

/** Voices of this browser, English ones first; some browsers fill the list late. */
export function voices() {
  const all = window.speechSynthesis?.getVoices() ?? [];
  const english = (voice) => (voice.lang.toLowerCase().startsWith("en") ? 0 : 1);
  return [...all].sort((a, b) => english(a) - english(b) || a.name.localeCompare(b.name));
}

/** Calls when the list of voices changes. */
export function onVoices(tell) {
  window.speechSynthesis?.addEventListener?.("voiceschanged", tell);
}

/** Pin numbers are said one by one, signs as words. */
export function speakable(text) {
  return text.replaceAll("Ω", " ohm").replaceAll("±", " plus or minus ").replaceAll("°C", " degrees").replace(/(\w)[–-](\w)/g, "$1 and $2");
}

/** `urgent` stops what is being said; `anyway` speaks also when muted (trying it out). */
export function speak(text, { urgent = false, anyway = false } = {}) {
  const engine = window.speechSynthesis;
  if (!engine || !text || !(anyway || (choice().speech && choice().sound && hasTheFloor()))) return;
  const found = voices();
  if (!found.length) return;
  if (urgent) engine.cancel();
  const words = new SpeechSynthesisUtterance(speakable(text));
  words.voice = found.find((voice) => voice.name === choice().voice) ?? found[0];
  words.lang = words.voice.lang;
  words.volume = choice().volume;
  engine.speak(words);
}
