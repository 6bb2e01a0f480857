// What this browser remembers for its user: sound, keys, look, how the connector is drawn. No measured value.

const KEY = "steadyohm.page.1";
const DEFAULTS = {
  sound: true,
  volume: 0.7,
  speech: true,
  voice: "",
  theme: "auto",
  keys: { confirm_open: "Enter", measure_again: "" },
  faces: {},
};

const heard = new Set();

function read() {
  try {
    const plain = JSON.parse(localStorage.getItem(KEY) ?? "{}");
    return { ...DEFAULTS, ...plain, keys: { ...DEFAULTS.keys, ...plain.keys } };
  } catch {
    return structuredClone(DEFAULTS);
  }
}

let kept = read();

/** Everything that is remembered; not to be changed in place. */
export const choice = () => kept;

/** Remembers some choices and tells whoever listens, here and in other pages of this browser. */
export function choose(some) {
  kept = { ...kept, ...some };
  try {
    localStorage.setItem(KEY, JSON.stringify(kept));
  } catch {
    // Private windows may refuse: the choice then lasts as long as the page.
  }
  for (const tell of heard) tell(kept);
}

/** Calls at each change. */
export function onChoice(tell) {
  heard.add(tell);
}

window.addEventListener("storage", (event) => {
  if (event.key !== KEY) return;
  kept = read();
  for (const tell of heard) tell(kept);
});
