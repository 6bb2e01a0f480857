// Steps of the unit on the bench, and how far the batch has come.

import { address } from "./router.js";
import { el, pairText } from "./dom.js";
import { limitsText } from "./scale.js";
import { sign } from "./signs.js";

const STATE_WORDS = { waiting: "to do", asked: "now", again: "once more", done: "done", left_out: "left out", held: "held" };

/** One cell a step: pair, name, value, shape. */
export function drawSteps(unit) {
  return el("div", { class: "steps-box" },
    el("a", { class: "tag", href: address("units", unit.serial) }, el("span", { class: "tag-hole", "aria-hidden": "true" }), el("span", { class: "tag-serial" }, unit.serial),
      el("span", { class: "tag-count" }, `${unit.done} of ${unit.of}`)),
    el("ol", { class: `steps${unit.steps.length > 8 ? " narrow" : ""}`, tabindex: unit.steps.length > 3 ? 0 : null, "aria-label": "Steps" }, unit.steps.map(oneStep)));
}

function oneStep(step) {
  const shape = (step.state === "done" ? step.outcome : null) ?? { asked: "asked", again: "asked", left_out: "left_out", held: "held" }[step.state] ?? null;
  const words = step.state === "done" ? step.word ?? step.outcome ?? "" : STATE_WORDS[step.state] ?? step.state;
  return el("li", { class: `step step-${step.state}`, "data-outcome": step.outcome ?? "", "aria-current": ["asked", "again"].includes(step.state) ? "step" : null, title: [step.name, limitsText(step)].filter(Boolean).join(", limits ") },
    shape ? sign(shape) : el("span", { class: "sign none" }),
    el("b", {}, pairText(step.pair) || step.name),
    el("span", { class: "step-name" }, step.pair ? step.name : ""),
    el("span", { class: "step-value" }, short(step.value) || words),
    step.value ? el("span", { class: "unseen" }, words) : null);
}

/** The value without its uncertainty: "202.42 Ω". */
const short = (text) => (text ?? "").replace(/ ± \S+/, "");

/** "18 of 40, 17 passed", with a bar. */
export function drawBatch(batch) {
  const { measured, expected, passed } = batch;
  const rest = [`${passed} passed`, batch.failed && `${batch.failed} failed`, batch.held && `${batch.held} held`, batch.state === "paused" && "paused"];
  const share = expected ? Math.min(1, measured / expected) : null;
  const good = measured ? passed / measured : 0;
  return el("p", { class: "batch-line" },
    el("a", { href: address("batch", batch.name) }, `Batch ${batch.name}`),
    share === null ? null : bar(share, good),
    el("span", {}, `${measured}${expected ? ` of ${expected}` : ""} measured, ${rest.filter(Boolean).join(", ")}`));
}

function bar(share, good) {
  const box = el("span", { class: "bar", role: "img", "aria-label": `${Math.round(100 * share)} % of the batch measured` });
  const done = el("span", { class: "bar-done" });
  done.style.width = `${100 * share * good}%`;
  const bad = el("span", { class: "bar-bad" });
  bad.style.width = `${100 * share * (1 - good)}%`;
  box.append(done, bad);
  return box;
}
