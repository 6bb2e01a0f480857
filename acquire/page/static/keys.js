// Keyboard, pedal and a scanner that types. Not for what a code or key then does (start_unit, start).
// A key or pedal counts once however long it is held; typing in a field is never taken away from it.

import { choice } from "./keep.js";

const FAST_MS = 45;
const SHORTEST_CODE = 3;
const DEAD_MS = 300;

/** Whether keys belong to a field or control rather than to the bench. */
export function typing(target) {
  return Boolean(target?.closest?.("input, textarea, select, [contenteditable]"));
}

const ownUse = (event) => (event.key === "Enter" || event.key === " ") && Boolean(event.target.closest?.("a, button, summary, dialog"));

export class Keys {
  /** `does`: scanned(code), act(name) where name is a key of the choices, e.g. "confirm_open". */
  constructor(does) {
    this.does = does;
    this.down = new Set();
    this.typed = "";
    this.typedAt = 0;
    this.lastAct = -Infinity;
    this.learning = null;
    document.addEventListener("keydown", (event) => this.pressed(event), true);
    document.addEventListener("keyup", (event) => this.down.delete(event.code || event.key), true);
    window.addEventListener("blur", () => this.down.clear());
  }

  /** The next key pressed is given to `tell` instead of doing anything; Escape ends it. */
  learn(tell) {
    this.learning = tell;
  }

  pressed(event) {
    const id = event.code || event.key;
    const held = event.repeat || this.down.has(id);
    this.down.add(id);
    if (this.learning && !["Shift", "Control", "Alt", "Meta", "Tab"].includes(event.key)) {
      event.preventDefault();
      event.stopPropagation();
      const tell = this.learning;
      if (held) return;
      this.learning = null;
      tell(event.key === "Escape" ? null : keyName(event));
      return;
    }
    if (event.ctrlKey || event.altKey || event.metaKey || event.isComposing) return;
    if (typing(event.target)) {
      if (!this.amidScan(event)) return;
      event.preventDefault(); // a field has taken the focus amid a code: half a serial must not land in it
    }
    if (this.scan(event)) return;
    this.act(event, held);
  }

  /** Whether a code has begun outside any field and this key follows at a scanner's pace. */
  amidScan(event) {
    return this.typed !== "" && event.timeStamp - this.typedAt < (event.key === "Enter" ? 2 : 1) * FAST_MS;
  }

  /** Collects fast signs; true where the key was the Enter behind a code. */
  scan(event) {
    const gap = event.timeStamp - this.typedAt;
    if (event.key.length === 1 && !event.repeat) {
      if (event.key === " " && this.typed && gap < FAST_MS) event.preventDefault();
      this.typed = gap < FAST_MS ? this.typed + event.key : event.key;
      this.typedAt = event.timeStamp;
      return false;
    }
    if (event.key !== "Enter") return false;
    const code = gap < 2 * FAST_MS ? this.typed : "";
    this.typed = "";
    if (code.trim().length < SHORTEST_CODE) return false;
    event.preventDefault();
    event.stopPropagation();
    this.does.scanned(code.trim());
    return true;
  }

  act(event, held) {
    const name = keyName(event);
    const does = Object.entries(choice().keys).find(([, key]) => key && key === name)?.[0];
    if (!does || ownUse(event)) return;
    event.preventDefault();
    if (held || event.timeStamp - this.lastAct < DEAD_MS) return;
    if (event.key.length > 1) this.now(does, event.timeStamp);
    else this.soon(does, event.timeStamp);
  }

  /** A sign may be the first of a scanned code: it counts only if none follows at a scanner's pace. */
  soon(does, at) {
    setTimeout(() => {
      if (this.typed.length === 1 && this.typedAt === at) this.now(does, at);
    }, 2 * FAST_MS);
  }

  now(does, at) {
    this.lastAct = at;
    this.does.act(does);
  }
}

/** A key as it is remembered and shown: what it types, or its name. */
export function keyName(event) {
  if (event.key === " ") return "Space";
  return event.key.length === 1 ? event.key.toUpperCase() : event.key === "Unidentified" ? event.code : event.key;
}
