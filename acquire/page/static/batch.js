// A batch: what to do with it, and its report, made by the daemon.

import { address } from "./router.js";
import { batchActs } from "./batch_acts.js";
import { drawDocument } from "./document.js";
import { el, part } from "./dom.js";
import { findForm, head, load } from "./pieces.js";

/** Opens the screen for a batch, or for the one at work. */
export function openBatch(main, about, bench) {
  const place = el("div", { class: "stage" });
  const acts = el("div", {});
  const draw = () => part(acts, [bench.state()?.batch?.name, bench.state()?.batch?.state, bench.state()?.orders], () => batchActs(bench));
  main.append(...head("Batch"), acts, place);
  draw();
  load(place, `/batch${about ? `?name=${encodeURIComponent(about)}` : ""}`, ({ name, names, document }) => [
    findForm("Batch", name, (given) => { location.hash = address("batch", given); }, names), ...(document ? drawDocument(document) : [])]);
  return { state: draw };
}
