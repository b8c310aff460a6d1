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
});

async function anew() {
  const answer = await fetch("/");
  if (!answer.ok) return;
  const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
  const focused = document.activeElement.closest?.("a.place")?.getAttribute("href");
  for (const part of ["main", "header"])
    document.querySelector(part).replaceWith(fresh.querySelector(part));
  if (focused) document.querySelector(`a.place[href="${CSS.escape(focused)}"]`)?.focus();
}
document.addEventListener("changed", anew);
document.addEventListener("decided", anew);
