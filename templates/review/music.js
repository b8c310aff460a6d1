// The passage: which notes can be asked, what they answer, and what is decided.
import { decide, typing } from "./page.js";

const music = document.getElementById("music");
const ask = document.getElementById("ask");
const view = document.getElementById("view");
let facts = JSON.parse(document.getElementById("facts").textContent);
let asked = -1;

const note = (n) => document.getElementById(`note${n}`);
const first = () => facts.notes[0]?.n ?? 0;
const noteAt = (n) => facts.notes[n - first()];
const make = (tag, text, ...inside) => {
  const made = document.createElement(tag);
  if (text) made.textContent = text;
  made.append(...inside);
  return made;
};

// -- asking a note

function tell(n) {
  const it = noteAt(n);
  if (!it) return;
  asked = n;
  for (const other of music.querySelectorAll(".asked")) other.classList.remove("asked");
  note(n)?.classList.add("asked");
  const said = make("dl");
  said.className = "said";
  const line = (name, words) => words && said.append(make("dt", name), make("dd", words));
  line("Planned", it.words + (it.says_state ? ` (${it.says_state})` : ""));
  line("Why", it.why);
  line("What it lost to", it.lost.replace(/^left plain: /, ""));
  for (const [what, parts] of it.gets) line(`Written: ${what}`, parts);
  for (const [what, parts] of it.printed) line(`Printed: ${what}`, parts);
  line("Do not strike here", it.silent);
  ask.replaceChildren(make("h2", `${it.place}: ${it.pitch}`.replace(/^b/, "B")), said);
  offer(it);
}

// -- deciding

const form = document.getElementById("decide");
const everywhere = document.getElementById("everywhere");

function offer(it) {
  form.hidden = false;
  for (const button of form.querySelectorAll("[aria-pressed]")) {
    const { verb, mark } = button.dataset;
    const on = { mark: it.marks.includes(mark), off: it.off, leave: it.state === "left" }[verb];
    button.setAttribute("aria-pressed", String(on));
  }
  document.getElementById("also").hidden = it.copies < 2;
  document.getElementById("copies").textContent = it.copies;
  if (it.copies < 2) everywhere.checked = false;
  const until = document.getElementById("until");
  const later = facts.notes.filter((other) => other.tick > it.tick);
  until.replaceChildren(
    ...later.map((other) => new Option(`${other.place}: ${other.pitch}`, other.tick)),
    new Option(facts.ends.says, facts.ends.tick),
  );
  const situation = document.getElementById("situation");
  const options = [...it.situations, ...facts.situations.filter((s) => !it.situations.includes(s))];
  situation.replaceChildren(...options.map((words) => make("option", words)));
}

globalThis.viewed = () => ({ passage: facts.name, stretch: facts.stretch, width: fitting("lead"), pitch: pitch() });

function settle(verb, mark = "") {
  const it = noteAt(asked);
  if (it)
    decide("/decide", {
      ...globalThis.viewed(), tick: it.tick, verb, mark, everywhere: everywhere.checked,
    });
}

form.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-verb]");
  if (button) settle(button.dataset.verb, button.dataset.mark);
});
form.addEventListener("submit", (event) => event.preventDefault());
document.getElementById("other").addEventListener("change", (event) => {
  if (event.target.value) settle("mark", event.target.value);
  event.target.value = "";
});
function sign(tick, kind, value, until = -1) {
  decide("/decide", { ...globalThis.viewed(), tick, sign: kind, value, until: Number(until) });
}
document.getElementById("dynamic").addEventListener("change", (event) => {
  const it = noteAt(asked);
  if (it && event.target.value) sign(it.tick, "dynamic", event.target.value);
  event.target.value = "";
});
document.getElementById("hairpin-write").addEventListener("click", () => {
  const it = noteAt(asked);
  const { value } = document.getElementById("hairpin");
  if (it) sign(it.tick, "hairpin", value, document.getElementById("until").value);
});
document.getElementById("habit").addEventListener("click", () => {
  const words = (id) => document.getElementById(id).value;
  decide("/decide", {
    ...globalThis.viewed(), habit: `${words("situation")}: ${words("habit-marks")}`,
  });
});

const readings = document.getElementById("readings");
function listReadings() {
  readings.replaceChildren(
    ...facts.readings.map((reading) => {
      const button = make("button", reading.name ? `${reading.name}: ${reading.says}` : reading.says);
      button.type = "button";
      button.dataset.reading = reading.name;
      button.setAttribute("aria-pressed", String(reading.taken));
      return button;
    }),
  );
}
readings.addEventListener("click", (event) => {
  const reading = event.target.closest("button")?.dataset.reading;
  if (reading !== undefined) decide("/decide", { ...globalThis.viewed(), reading });
});

// -- loudness: what is proposed can be refused, what was decided taken back

const loudness = document.getElementById("loudness");
function listLoudness() {
  const list = make("ul");
  list.className = "findings";
  for (const it of facts.loudness) {
    const button = make("button", it.decided ? "take it back" : "not this");
    button.type = "button";
    Object.assign(button.dataset, { sign: it.sign, tick: it.tick, value: it.decided ? "rules" : "none" });
    const ways = make("span", "", button);
    ways.className = "marks";
    list.append(make("li", `${it.says}. ${it.why.replace(/^p/, "P").replace(/^d/, "D")}. `, ways));
  }
  loudness.replaceChildren(...(facts.loudness.length ? [make("h2", "Loudness"), list] : []));
}
loudness.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (button) sign(Number(button.dataset.tick), button.dataset.sign, button.dataset.value);
});

// -- findings beside the music

const SEVERE = { error: "will sound wrong", warning: "will cost time", note: "to know" };
function listFindings() {
  const place = document.getElementById("findings");
  const had = document.activeElement?.dataset?.settle && {
    finding: document.activeElement.closest("li").dataset.name,
    way: document.activeElement.dataset.settle,
  };
  const list = make("ul");
  list.className = "findings";
  for (const it of facts.findings) {
    const row = make("li");
    row.dataset.name = it.name;
    row.classList.toggle("done", Boolean(it.settled));
    const where = make("button", `${it.place}, ${it.part}`.replace(/^b/, "B"));
    where.type = "button";
    where.className = "where";
    where.dataset.tick = it.tick;
    where.dataset.stretch = it.stretch;
    const ways = make("span");
    ways.className = "marks";
    for (const way of facts.settling) {
      const button = make("button", way);
      button.type = "button";
      button.dataset.settle = way;
      button.setAttribute("aria-pressed", String(it.settled === way));
      ways.append(button);
    }
    row.append(make("b", `${SEVERE[it.severity]}: `), where, ` ${it.message}. `, make("i", it.fix), ways);
    list.append(row);
  }
  place.replaceChildren(...(facts.findings.length ? [make("h2", "Left to settle"), list] : []));
  if (had)
    [...place.querySelectorAll("[data-settle]")]
      .find((b) => b.dataset.settle === had.way && b.closest("li").dataset.name === had.finding)
      ?.focus();
}
document.getElementById("findings").addEventListener("click", (event) => {
  const { tick, settle: way } = event.target.closest("button")?.dataset ?? {};
  if (tick !== undefined) {
    const stretch = Number(event.target.closest("button").dataset.stretch);
    if (stretch !== facts.stretch) {
      location.href = `/passage/${facts.name}?stretch=${stretch}`;
      return;
    }
    const found = facts.notes.findLast((it) => it.tick <= Number(tick));
    if (found) go(found.n);
  } else if (way !== undefined) {
    const finding = event.target.closest("li").dataset.name;
    const pressed = event.target.getAttribute("aria-pressed") === "true";
    decide("/decide", { ...globalThis.viewed(), finding, settled: pressed ? "" : way });
  }
});

document.addEventListener("decided", ({ detail }) => {
  if (detail.drawn) take(detail.drawn);
  if (section.open) redraw(true);
});
document.addEventListener("changed", () => redraw(true));

function go(n) {
  const to = note(Math.max(first(), Math.min(first() + facts.notes.length - 1, n)));
  if (!to) return;
  for (const other of music.querySelectorAll(".note[tabindex='0']")) other.setAttribute("tabindex", "-1");
  to.setAttribute("tabindex", "0");
  to.focus();
  to.scrollIntoView({ block: "nearest" });
}

const number = (target) => {
  const found = target.closest?.(".note");
  return found ? Number(found.dataset.n) : -1;
};

music.addEventListener("click", (event) => {
  const n = number(event.target);
  if (n >= 0) go(n);
});
music.addEventListener("focusin", (event) => {
  const n = number(event.target);
  if (n >= 0) tell(n);
});
music.addEventListener("keydown", (event) => {
  const n = number(event.target);
  const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
  if (n < 0 || !step) return;
  event.preventDefault();
  go(n + step);
});

// -- drawing

const pitch = () => new FormData(view).get("pitch");
const section = document.getElementById("section");
let drawnAs = { lead: "", all: "" };

function fitting(parts) {
  const room = music.clientWidth / (parts === "all" ? 6 : 5.2); // pixels that a millimetre takes
  return [...facts.widths].reverse().find((one) => one <= room) ?? facts.widths[0];
}

const wish = (parts) => `stretch=${facts.stretch}&width=${fitting(parts)}&pitch=${pitch()}&parts=${parts}`;

async function drawing(parts, force) {
  const wanted = wish(parts);
  if (!force && wanted === drawnAs[parts]) return null;
  drawnAs[parts] = wanted;
  const answer = await fetch(`/passage/${facts.name}/drawing?${wanted}`);
  return answer.ok && wanted === drawnAs[parts] ? answer.json() : null;
}

function lay(place, drawn) {
  if (drawn.failed) {
    const why = make("p", drawn.failed);
    why.className = "failed";
    place.replaceChildren(why);
  } else place.innerHTML = drawn.outlines + drawn.lines.join("");
}

async function redraw(force = false) {
  const lead = drawing("lead", force);
  const all = section.open ? drawing("all", force) : null;
  const drawn = await lead;
  if (drawn) take(drawn);
  const whole = await all;
  if (whole) lay(document.getElementById("parts"), whole);
  music.dataset.drawn = drawnAs.lead;
}

function take(drawn) {
  const had = music.contains(document.activeElement);
  if (had && asked < 0) asked = number(document.activeElement); // before this script could listen
  facts = { ...facts, notes: drawn.notes, readings: drawn.readings, findings: drawn.findings, loudness: drawn.loudness, version: drawn.version };
  drawnAs.lead = wish("lead");
  lay(music, drawn);
  ready();
  listReadings();
  listLoudness();
  listFindings();
  if (asked < 0) return;
  if (had) go(asked);
  tell(asked);
}

function ready() {
  note(Math.max(asked, first()))?.setAttribute("tabindex", "0");
}

view.addEventListener("change", () => redraw());
section.addEventListener("toggle", () => redraw());
document.addEventListener("keydown", (event) => {
  if (typing(event)) return;
  const links = { "[": "before", "]": "after", m: "map" };
  const marks = {
    a: "accent", r: "strong-accent", t: "tenuto", d: "staccato", g: "ghost", b: "breath-mark",
    f: "falloff",
  };
  const verbs = { o: "off", p: "plain", l: "leave", u: "rules" };
  if (links[event.key]) document.getElementById(links[event.key])?.click();
  else if (marks[event.key]) settle("mark", marks[event.key]);
  else if (verbs[event.key]) settle(verbs[event.key]);
  else if (event.key === "s") section.open = !section.open;
  else if (event.key === "w") {
    view.querySelector("[name=pitch]:not(:checked)").checked = true;
    redraw();
  }
});

let waiting;
new ResizeObserver(() => {
  clearTimeout(waiting);
  waiting = setTimeout(() => redraw(), 120);
}).observe(music);
drawnAs.lead = `stretch=${facts.stretch}&width=${facts.width}&pitch=${pitch()}&parts=lead`;
ready();
listReadings();
listLoudness();
listFindings();
