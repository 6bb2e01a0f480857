// All benches: takes the whole state from the stream and draws it; keeps cards, so that nothing flickers or jumps.

const NS = "http://www.w3.org/2000/svg";
const AWAY_MS = 4000;

// Each condition has an outline of its own: told by eyes that see no colours, and from two metres.
const SHAPES = {
  halted: [["path", { d: "M31 4H69L96 31V69L69 96H31L4 69V31Z", fill: "currentColor" }], ["path", { d: "M28 50H72", class: "hole" }]],
  lost: [["path", { d: "M4 50H34M66 50H96M38 24L62 76M62 24L38 76", class: "line" }]],
  silent: [["path", { d: "M22 8H78M22 92H78M28 8C28 44 72 56 72 92M72 8C72 44 28 56 28 92", class: "line" }]],
  stopped: [["rect", { x: 14, y: 14, width: 72, height: 72, class: "line" }]],
  idle: [["circle", { cx: 50, cy: 50, r: 38, class: "line" }]],
  working: [["circle", { cx: 50, cy: 50, r: 46, fill: "currentColor" }]],
};
const LOOK = {
  line: { fill: "none", stroke: "currentColor", "stroke-width": 11, "stroke-linecap": "round", "stroke-linejoin": "round" },
  hole: { fill: "none", stroke: "var(--card)", "stroke-width": 15 },
};

const byId = (id) => document.getElementById(id);
const cards = new Map();
let latest = null;
let ahead_s = 0;
let heard_ms = 0;

function sign(condition) {
  const drawn = document.createElementNS(NS, "svg");
  drawn.setAttribute("viewBox", "0 0 100 100");
  drawn.setAttribute("aria-hidden", "true");
  for (const [name, wanted] of SHAPES[condition] ?? SHAPES.lost) {
    const part = document.createElementNS(NS, name);
    for (const [key, value] of Object.entries({ ...wanted, ...LOOK[wanted.class] })) if (key !== "class") part.setAttribute(key, value);
    drawn.append(part);
  }
  return drawn;
}

function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

function ago(bench) {
  if (!bench.since_utc_s) return "";
  const past_s = Math.max(0, Date.now() / 1000 + ahead_s - bench.since_utc_s);
  if (past_s < 90) return bench.condition === "working" || bench.condition === "idle" ? "" : "just now";
  if (past_s < 5400) return `${Math.round(past_s / 60)} min ago`;
  if (past_s < 129600) return `${Math.round(past_s / 3600)} h ago`;
  return `${Math.round(past_s / 86400)} days ago`;
}

function percent(passed, units) {
  return `${Math.floor((100 * passed) / units)} %`;
}

function figures(bench) {
  if (!bench.units) return "no unit today";
  const units = bench.units === 1 ? "1 unit" : `${bench.units} units`;
  return `${units}, ${percent(bench.passed, bench.units)}`;
}

function draw(card, bench) {
  const part = (name) => card.querySelector(name);
  if (card.dataset.condition !== bench.condition) {
    card.dataset.condition = bench.condition;
    card.className = `card is-${bench.condition}`;
    part(".sign").replaceChildren(sign(bench.condition));
  }
  say(part("h2"), bench.name);
  part("h2").title = bench.name;
  say(part(".word"), bench.word);
  say(part(".detail"), bench.detail || bench.last);
  part(".say").title = bench.detail;
  say(part(".figures"), figures(bench));
  say(part(".since"), ago(bench));
  part(".bar").classList.toggle("nothing", !bench.units);
  part(".bar span").style.transform = `scaleX(${bench.units ? bench.passed / bench.units : 0})`;
  const sheet = part(".sheet");
  const key = `${bench.sheet} ${bench.hash} ${bench.old.join()}`;
  if (sheet.dataset.key === key) return;
  sheet.dataset.key = key;
  sheet.replaceChildren();
  for (const kind of bench.old) {
    const mark = document.createElement("span");
    mark.className = "old";
    mark.textContent = kind === "sheet" ? "old" : "old meter file";
    sheet.append(mark, " ");
  }
  sheet.append(bench.sheet ? `${bench.sheet} ${bench.hash}` : "");
}

function show(state) {
  latest = state;
  ahead_s = state.utc_s - Date.now() / 1000;
  const list = byId("benches");
  const there = new Set();
  state.benches.forEach((bench, place) => {
    let card = cards.get(bench.name);
    if (!card) {
      card = byId("card").content.firstElementChild.cloneNode(true);
      cards.set(bench.name, card);
    }
    draw(card, bench);
    if (list.children[place] !== card) list.insertBefore(card, list.children[place] ?? null);
    there.add(bench.name);
  });
  for (const [name, card] of cards) {
    if (!there.has(name)) {
      card.remove();
      cards.delete(name);
    }
  }
  byId("nobody").hidden = state.benches.length > 0;
  heads(state);
}

function heads(state) {
  byId("counts").replaceChildren(
    ...Object.entries(state.count).map(([condition, count]) => {
      const item = document.createElement("li");
      item.className = count ? `is-${condition}` : "none";
      const shape = document.createElement("span");
      shape.className = "sign";
      shape.append(sign(condition));
      item.append(shape, `${count} ${state.words[condition]}`);
      return item;
    }),
  );
  const old = state.old ? `  ▲ ${state.old} with old files` : "";
  say(byId("today"), (state.units ? `Today: ${state.units} units, ${percent(state.passed, state.units)} passed` : "Today: no unit yet") + old);
  troubles(state.trouble);
}

function troubles(sentences) {
  byId("troubles").replaceChildren(
    ...sentences.map((text) => {
      const line = document.createElement("p");
      line.textContent = text;
      return line;
    }),
  );
}

function link() {
  const source = new EventSource("/events");
  source.addEventListener("state", (event) => {
    heard_ms = Date.now();
    document.body.classList.remove("away");
    show(JSON.parse(event.data));
  });
  source.addEventListener("beat", () => {
    heard_ms = Date.now();
  });
  source.addEventListener("bye", () => away());
  source.addEventListener("error", () => away());
}

function away() {
  document.body.classList.add("away");
  troubles(["This page has lost its server. It retries automatically; what is shown may be old."]);
}

setInterval(() => {
  if (latest && !document.body.classList.contains("away")) {
    if (Date.now() - heard_ms > 4 * AWAY_MS) away();
    else for (const bench of latest.benches) say(cards.get(bench.name).querySelector(".since"), ago(bench));
  }
}, AWAY_MS);

link();
