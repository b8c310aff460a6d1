// Listening: sound from our own audition, looped by bars, with a cursor over the notes.
import { typing } from "./page.js";

const form = document.getElementById("listen");
const music = document.getElementById("music");
const button = document.getElementById("play");
const heard = document.getElementById("heard");
const name = music.dataset.name;
const GAP = 0.7; // seconds between two takes that follow each other
const buffers = new Map();
let context = null;
let playing = null;

const wish = () => new FormData(form);
const takes = () => {
  const how = wish().get("how");
  if (how !== "*") return [how];
  return [...form.querySelectorAll("[name=how]")].map((one) => one.value).filter((one) => one !== "*");
};
const asked = (how) => {
  const now = wish();
  return `stretch=${music.dataset.stretch}&how=${encodeURIComponent(how)}&all=${now.get("all")}&tempo=${now.get("tempo")}` +
    `&click=${now.get("click") ? 1 : 0}`;
};

// Sound that was asked for before is there at once; a decision makes all of it old.
function sound(how) {
  const key = asked(how);
  if (!buffers.has(key)) {
    const made = (async () => {
      const [wav, times] = await Promise.all([
        fetch(`/passage/${name}/sound?${key}`), fetch(`/passage/${name}/times?${key}`),
      ]);
      if (!wav.ok || !times.ok) throw new Error("no sound");
      return { data: await wav.arrayBuffer(), times: await times.json(), buffer: null };
    })();
    made.catch(() => buffers.delete(key));
    if (buffers.size > 12) buffers.delete(buffers.keys().next().value);
    buffers.set(key, made);
  }
  return buffers.get(key);
}

function range(times) {
  const now = wish();
  const [from, to] = [Number(now.get("from")), Number(now.get("to"))].sort((a, b) => a - b);
  const bars = times.bars.filter(([index]) => index >= from && index <= to);
  return [bars[0][2], bars.at(-1)[3]];
}

async function play() {
  stop();
  context ??= new AudioContext();
  const mine = (playing = { sources: [], spans: [] });
  button.textContent = "Stop";
  try {
    await context.resume();
    const order = takes();
    let at = 0;
    for (const how of order) {
      const made = await sound(how);
      made.buffer ??= await context.decodeAudioData(made.data);
      if (playing !== mine) return;
      const [start, end] = range(made.times);
      const source = new AudioBufferSourceNode(context, { buffer: made.buffer });
      const loops = order.length === 1 && form.elements.loop.checked;
      Object.assign(source, { loop: loops, loopStart: start, loopEnd: end });
      source.connect(context.destination);
      at = Math.max(at, context.currentTime + 0.02);
      source.start(at, start, loops ? undefined : end - start + 0.4);
      mine.sources.push(source);
      mine.spans.push({ how, at, start, end, loops, times: made.times });
      at += end - start + GAP;
      if (how === order.at(-1) && !loops) source.onended = () => playing === mine && stop();
    }
    if (order.length > 1) heard.textContent = "";
  } catch {
    if (playing === mine) stop();
    heard.textContent = "This cannot be heard just now.";
  }
}

function stop() {
  for (const source of playing?.sources ?? []) {
    source.onended = null;
    source.stop();
  }
  playing = null;
  button.textContent = "Play";
  heard.textContent = "";
  mark(-1);
}

// -- the cursor

let marked = -1;
function mark(n) {
  if (n === marked) return;
  for (const one of music.querySelectorAll(".sounding")) one.classList.remove("sounding");
  const note = document.getElementById(`note${n}`);
  note?.classList.add("sounding");
  marked = n;
  if (note) {
    const { top, bottom } = note.getBoundingClientRect();
    if (top < 0 || bottom > innerHeight) note.scrollIntoView({ block: "center" });
  }
}

function step() {
  requestAnimationFrame(step);
  if (!playing || !context) return;
  const now = context.currentTime;
  const span = playing.spans.findLast((one) => one.at <= now);
  if (!span) return;
  let place = span.start + now - span.at;
  if (span.loops) place = span.start + ((now - span.at) % (span.end - span.start));
  const found = span.times.notes.findLast(([, begin]) => begin <= place);
  mark(found && place < found[2] ? found[0] : -1);
  const words = playing.spans.length > 1 ? `Now: ${span.how}` : "";
  if (heard.textContent !== words) heard.textContent = words;
}
requestAnimationFrame(step);

// -- choosing

button.addEventListener("click", () => (playing ? stop() : play()));
form.addEventListener("submit", (event) => event.preventDefault());
form.addEventListener("input", () => {
  form.querySelector("output").textContent = `${wish().get("tempo")} %`;
});
form.addEventListener("change", (event) => {
  chosen();
  if (playing && event.target.name !== "") play();
  else ahead();
});
document.addEventListener("keydown", (event) => {
  if (typing(event)) return;
  if (event.key === " " && !event.target.closest("button, summary, a, input")) {
    event.preventDefault();
    button.click();
  } else if (event.key === "k") form.elements.loop.click();
});
for (const changed of ["decided", "changed"])
  document.addEventListener(changed, () => {
    buffers.clear();
    ahead();
  });

// Dragging over the music chooses bars; what is chosen is framed.
let from = -1;
const barOf = (event) => {
  const found = document.elementFromPoint(event.clientX, event.clientY)?.closest?.("[data-bar]");
  return found ? Number(found.dataset.bar) : -1;
};
music.addEventListener("pointerdown", (event) => (from = barOf(event)));
music.addEventListener("pointermove", (event) => {
  const to = barOf(event);
  if (from < 0 || to < 0 || !event.buttons || (to === from && !music.classList.contains("dragging")))
    return;
  music.classList.add("dragging");
  form.elements.from.value = Math.min(from, to);
  form.elements.to.value = Math.max(from, to);
  chosen();
});
document.addEventListener("pointerup", () => {
  if (music.classList.contains("dragging")) {
    form.elements.loop.checked = true;
    if (playing) play();
    else ahead();
  }
  music.classList.remove("dragging");
  from = -1;
});

function chosen() {
  const [a, b] = [Number(form.elements.from.value), Number(form.elements.to.value)];
  const all = form.elements.from;
  const whole = Math.min(a, b) === Number(all.options[0].value) &&
    Math.max(a, b) === Number(all.options[all.options.length - 1].value);
  for (const one of music.querySelectorAll(".bar")) {
    const bar = Number(one.dataset.bar);
    one.classList.toggle("chosen", !whole && bar >= Math.min(a, b) && bar <= Math.max(a, b));
  }
}
new MutationObserver(chosen).observe(music, { childList: true });

// What will most likely be asked for is made ready before it is.
let waiting;
function ahead() {
  clearTimeout(waiting);
  waiting = setTimeout(() => takes().forEach((how) => sound(how).catch(() => {})), 250);
}
ahead();
