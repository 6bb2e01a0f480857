// Follows the daemon: its event stream, and a watch of our own over it. Nothing is shown as live that is not.

import { getJson } from "./orders.js";

const SILENT_S = 12;
const LOOK_S = 4;
const HIDDEN_S = 60;
const WAITS_S = [0.5, 1, 1, 2];

/**
 * Follows for ever. `hear` has state(whole, names of what changed or null), trace({new, points}), cue(cue),
 * setup(progress) and link({up, seen, restarted, again, text}). A page that nobody sees, and that `mayRest`, lets go of
 * its stream after a minute: a browser has six connections to one daemon, and a seventh page could not even open.
 */
export class Link {
  constructor(hear, mayRest = () => false) {
    Object.assign(this, { hear, mayRest, resting: null, asleep: false, state: null, up: false, lost: false, failures: 0, asking: false, waiting: null, text: "" });
    this.heardAt = performance.now();
    this.seen = null;
    this.clock = { utc_s: Date.now() / 1000, speed: 1, at: performance.now() };
    setInterval(() => this.watch(), LOOK_S * 1000);
    document.addEventListener("visibilitychange", () => this.seenOrNot());
    window.addEventListener("online", () => this.connect());
    window.addEventListener("pageshow", (event) => event.persisted && this.connect());
    window.addEventListener("pagehide", () => this.source?.close());
    this.connect();
  }

  connect() {
    clearTimeout(this.waiting);
    this.asleep = false;
    this.source?.close();
    const source = new EventSource("/events");
    this.source = source;
    const on = (name, does) => source.addEventListener(name, (event) => {
      if (this.source !== source) return;
      [this.heardAt, this.seen] = [performance.now(), Date.now()];
      const plain = readJson(event.data);
      if (plain !== undefined) does(plain);
    });
    on("state", (whole) => this.whole(whole));
    on("change", (some) => this.change(some));
    on("trace", (points) => this.hear.trace(points));
    on("cue", (cue) => this.hear.cue(cue));
    on("setup", (progress) => this.hear.setup(progress));
    on("beat", ({ utc_s }) => this.setClock({ utc_s, speed: this.clock.speed }));
    on("bye", ({ text }) => { this.text = text; });
    source.onerror = () => this.source === source && this.broken();
  }

  seenOrNot() {
    clearTimeout(this.resting);
    if (document.hidden) this.resting = setTimeout(() => this.rest(), HIDDEN_S * 1000);
    else if (this.asleep) this.connect();
  }

  rest() {
    if (!document.hidden || !this.mayRest()) return;
    clearTimeout(this.waiting);
    this.source.close();
    Object.assign(this, { asleep: true, up: false });
    this.hear.link({ up: false, seen: this.seen, text: "This page paused while it was hidden." });
  }

  whole(state) {
    const before = this.state;
    if (before && before.assets && state.assets && before.assets !== state.assets) return location.reload();
    const again = this.lost;
    Object.assign(this, { state, up: true, lost: false, failures: 0, text: "" });
    if (state.clock) this.setClock(state.clock);
    this.hear.link({ up: true, again, restarted: Boolean(before) && before.mode === state.mode && before.start !== state.start });
    this.hear.state(state, null);
  }

  change(some) {
    if (!this.state) return;
    Object.assign(this.state, some);
    if (some.clock) this.setClock(some.clock);
    this.hear.state(this.state, Object.keys(some));
  }

  setClock({ utc_s, speed }) {
    if (Number.isFinite(utc_s)) this.clock = { utc_s, speed: speed || 1, at: performance.now() };
  }

  /** Seconds on this machine until a moment of the bench's clock; negative once it has passed. */
  left_s(until_utc_s) {
    const { utc_s, speed, at } = this.clock;
    return (until_utc_s - utc_s) / speed - (performance.now() - at) / 1000;
  }

  broken() {
    this.source.close();
    if (!this.lost) {
      Object.assign(this, { up: false, lost: true });
      this.hear.link({ up: false, seen: this.seen, text: this.text });
      this.explain();
    }
    const wait = WAITS_S[Math.min(this.failures, WAITS_S.length - 1)];
    this.failures += 1;
    clearTimeout(this.waiting);
    this.waiting = setTimeout(() => this.connect(), wait * 1000);
  }

  /** An event stream that is refused does not say why; an ordinary request does (a token that is missing, say). */
  async explain() {
    const answer = await getJson("/now", 3);
    if (this.lost && answer.status >= 400) this.hear.link({ up: false, seen: this.seen, text: answer.text });
  }

  /** A line can be open and yet dead: after a silence the daemon is asked whether it has moved on without us. */
  async watch() {
    if (!this.up || this.asking || performance.now() - this.heardAt < SILENT_S * 1000) return;
    this.asking = true;
    const now = await getJson("/now", 3);
    this.asking = false;
    if (performance.now() - this.heardAt < SILENT_S * 1000) return;
    if (now.ok && now.plain?.start === this.state?.start && now.plain?.seq === this.state?.seq) this.heardAt = performance.now();
    else this.broken();
  }
}

function readJson(text) {
  try {
    return JSON.parse(text);
  } catch {
    return undefined;
  }
}
