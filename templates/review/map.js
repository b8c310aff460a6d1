// The map: arrow keys go from passage to passage; what changes elsewhere is shown.
import { decide, typing } from "./page.js";

const places = () => [...document.querySelectorAll("a.place")];

document.addEventListener("keydown", (event) => {
  const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
  const here = document.activeElement;
  if (typing(event) || !step || (here !== document.body && !here.closest(".map"))) return;
  const all = places();
  const at = all.indexOf(here);
  event.preventDefault();
  all[Math.min(all.length - 1, Math.max(0, at < 0 ? 0 : at + step))]?.focus();
});

document.addEventListener("click", (event) => {
  const habit = event.target.closest(".unhabit")?.dataset.habit;
  if (habit) decide("/decide", { habit, wanted: false });
  const settle = event.target.closest("[data-settle]");
  if (settle)
    decide("/decide", {
      finding: settle.closest("li").dataset.name,
      settled: settle.getAttribute("aria-pressed") === "true" ? "" : settle.dataset.settle,
    });
});

async function anew() {
  const answer = await fetch("/");
  if (!answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  const focused = document.activeElement.closest?.("a.place")?.getAttribute("href");
  const sheets = document.getElementById("finish");
  fresh.getElementById("finish").replaceWith(sheets);
  for (const part of ["main", "header"])
    document.querySelector(part).replaceWith(fresh.querySelector(part));
  if (focused) document.querySelector(`a.place[href="${CSS.escape(focused)}"]`)?.focus();
}
document.addEventListener("changed", anew);
document.addEventListener("decided", ({ detail }) => "version" in detail && anew());

// -- making the sheets

const TICK = 300; // milliseconds between two looks at how far the sheets are
const make = (tag, text, ...inside) => {
  const made = document.createElement(tag);
  if (text) made.textContent = text;
  made.append(...inside);
  return made;
};
const listed = (title, lines) =>
  lines.length ? [make("h3", title), make("ul", "", ...lines.map((line) => make("li", line)))] : [];

function show(it) {
  const far = document.getElementById("far");
  document.getElementById("make").disabled = it.busy;
  far.hidden = !it.busy;
  far.value = it.done / it.of;
  document.getElementById("stage").textContent = it.busy
    ? it.stage + (it.of > 1 ? `: ${it.done} of ${it.of}` : "")
    : it.failed || (it.files.length ? `Made: ${it.files.length} files in ${it.folder}` : "");
  const made = document.getElementById("made");
  if (it.busy || !it.files.length) return made.replaceChildren();
  const link = (n) => {
    const to = make("a", it.files[n]);
    to.href = `/made/${n}`;
    if (/\.(pdf|png)$/.test(it.files[n])) to.target = "_blank";
    return make("li", "", to);
  };
  const changed = it.changed === null
    ? [make("p", "These are the first sheets in this folder.")]
    : it.changed.length
      ? listed("Sheets that changed since the last time", it.changed)
      : [make("p", "No sheet changed since the last time.")];
  made.replaceChildren(
    ...listed("Look at this first", it.notes),
    ...changed,
    make("h3", "Open"),
    make("ul", "", ...it.files.map((_, n) => link(n))),
  );
}

async function watch() {
  const answer = await fetch("/making");
  if (!answer.ok) return;
  const it = await answer.json();
  show(it);
  if (it.busy) setTimeout(watch, TICK);
}
document.getElementById("make").addEventListener("click", async () => {
  document.addEventListener("decided", watch, { once: true });
  await decide("/finish", {});
});
watch();
