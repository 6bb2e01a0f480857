// Asks the daemon for things and hands it orders. Never repeats an order by itself: a person decides that.

let counted = 0;
const session = Array.from(crypto.getRandomValues(new Uint8Array(6)), (n) => n.toString(16).padStart(2, "0")).join("");

/** GET as {ok, status, plain, text}. Never throws: `text` says in a sentence what went wrong, or is empty. */
export async function getJson(path, within_s = 20) {
  return request(path, { headers: { Accept: "application/json" } }, within_s);
}

/** POST a JSON object, likewise. */
export async function postJson(path, body, within_s = 20) {
  return request(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) }, within_s);
}

async function request(path, options, within_s) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), within_s * 1000);
  try {
    const answer = await fetch(path, { ...options, signal: stop.signal, cache: "no-store" });
    const plain = await answer.json().catch(() => null);
    const text = answer.ok ? "" : plain?.error ?? `The daemon answers with ${answer.status}.`;
    return { ok: answer.ok, status: answer.status, plain, text };
  } catch {
    return { ok: false, status: 0, plain: null, text: "The daemon does not answer." };
  } finally {
    clearTimeout(timer);
  }
}

/** Hands in one order, such as order("start_unit", {serial: "..."}); gives {done, reason}. */
export async function order(command, fields = {}) {
  counted += 1;
  const answer = await postJson("/orders", { command, correlation: `page-${session}-${counted}`, ...fields });
  return { done: answer.ok && answer.plain?.done === true, reason: answer.plain?.reason ?? answer.text };
}
