// Arrow keys go from passage to passage on the map.
const places = [...document.querySelectorAll("a.place")];
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
  const at = places.indexOf(document.activeElement);
  if (!step || !places.length || (at < 0 && !document.activeElement.closest(".map, body"))) return;
  if (at < 0 && document.activeElement !== document.body && !document.activeElement.closest(".map")) return;
  event.preventDefault();
  places[Math.min(places.length - 1, Math.max(0, at < 0 ? 0 : at + step))].focus();
});
