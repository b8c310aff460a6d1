// The passage: which notes can be asked, and what they answer.
const music = document.getElementById("music");
const ask = document.getElementById("ask");
const view = document.getElementById("view");
let facts = JSON.parse(document.getElementById("facts").textContent);
let asked = -1;

const note = (n) => document.getElementById(`note${n}`);
const make = (tag, text, ...inside) => {
  const made = document.createElement(tag);
  if (text) made.textContent = text;
  made.append(...inside);
  return made;
};

// -- asking a note

function tell(n) {
  const it = facts.notes[n];
  if (!it) return;
  asked = n;
  for (const other of music.querySelectorAll(".asked")) other.classList.remove("asked");
  note(n)?.classList.add("asked");
  const said = make("dl");
  const line = (name, words) => words && said.append(make("dt", name), make("dd", words));
  line("Planned", it.words + (it.says_state ? ` (${it.says_state})` : ""));
  line("Why", it.why);
  line("What it lost to", it.lost.replace(/^left plain: /, ""));
  for (const [what, parts] of it.gets) line(`Written: ${what}`, parts);
  for (const [what, parts] of it.printed) line(`Printed: ${what}`, parts);
  line("Do not strike here", it.silent);
  ask.replaceChildren(make("h2", `${it.place}: ${it.pitch}`.replace(/^b/, "B")), said);
}

function go(n) {
  const to = note(Math.max(0, Math.min(facts.notes.length - 1, n)));
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

function wish(parts) {
  const room = music.clientWidth / (parts === "all" ? 6 : 5.2); // pixels that a millimetre takes
  const width = [...facts.widths].reverse().find((one) => one <= room) ?? facts.widths[0];
  return `width=${width}&pitch=${pitch()}&parts=${parts}`;
}

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

export async function redraw(force = false) {
  const lead = drawing("lead", force);
  const all = section.open ? drawing("all", force) : null;
  const drawn = await lead;
  if (drawn) {
    const had = music.contains(document.activeElement);
    facts = { ...facts, notes: drawn.notes, version: drawn.version };
    document.body.dataset.version = drawn.version;
    lay(music, drawn);
    ready();
    if (asked >= 0) {
      if (had) go(asked);
      tell(asked);
    }
  }
  const whole = await all;
  if (whole) lay(document.getElementById("parts"), whole);
}

function ready() {
  note(Math.max(asked, 0))?.setAttribute("tabindex", "0");
}

view.addEventListener("change", () => redraw());
section.addEventListener("toggle", () => redraw());
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  if (event.target.closest("input:not([type=radio]):not([type=checkbox]), select, textarea")) return;
  const links = { ",": "before", ".": "after", m: "map" };
  if (links[event.key]) document.getElementById(links[event.key])?.click();
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
drawnAs.lead = `width=${facts.width}&pitch=${pitch()}&parts=lead`;
ready();
