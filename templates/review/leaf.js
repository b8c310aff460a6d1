// Ask a note, listen, say what you would do, and save it as a plan file of a few lines.
"use strict";
(() => {
  const make = (tag, text, ...inside) => {
    const made = document.createElement(tag);
    if (text) made.textContent = text;
    made.append(...inside);
    return made;
  };
  const audio = new Audio();
  let playing = null; // the button, its section and the times of its notes

  function stop() {
    audio.pause();
    if (!playing) return;
    playing.button.setAttribute("aria-pressed", "false");
    for (const one of playing.section.querySelectorAll(".sounding")) one.classList.remove("sounding");
    playing = null;
  }
  audio.addEventListener("ended", stop);
  const seen = (section) => [...section.querySelectorAll(".music")].find((one) => one.offsetParent);
  setInterval(() => {
    if (!playing) return;
    const now = playing.data.times.notes.findLast(([, begin]) => begin <= audio.currentTime);
    const music = seen(playing.section);
    for (const one of music.querySelectorAll(".sounding")) one.classList.remove("sounding");
    if (now && audio.currentTime < now[2]) music.querySelector(`.note[data-n="${now[0]}"]`)?.classList.add("sounding");
  }, 40);

  const asked = new Map(); // section id -> { note number: words }
  for (const section of document.querySelectorAll(".leaf")) {
    const data = JSON.parse(section.querySelector(".data").textContent);
    const told = section.querySelector(".told");
    const form = section.querySelector(".wish");
    const asking = section.querySelector(".asking");
    const list = section.querySelector(".list-of-wishes");
    const wishes = new Map();
    asked.set(section.id, { data, wishes, section });
    let current = null;

    section.querySelector(".takes").addEventListener("click", (event) => {
      const button = event.target.closest("button");
      if (!button) return;
      const again = playing?.button === button;
      stop();
      if (again) return;
      audio.src = data.sounds[button.dataset.take];
      audio.play().catch(() => {}); // stopped before it began
      button.setAttribute("aria-pressed", "true");
      playing = { button, section, data };
    });

    function show() {
      list.replaceChildren(
        ...[...wishes].map(([n, words]) => {
          const note = data.notes.find((one) => one.n === n);
          const away = make("button", "take it back");
          away.type = "button";
          away.addEventListener("click", () => {
            wishes.delete(n);
            show();
          });
          return make("li", `${note.place}, ${note.pitch}: ${words}`, away);
        }),
      );
    }

    function tell(n) {
      const note = data.notes.find((one) => one.n === n);
      if (!note) return;
      current = n;
      for (const one of section.querySelectorAll(".asked")) one.classList.remove("asked");
      for (const one of section.querySelectorAll(`.note[data-n="${n}"]`)) one.classList.add("asked");
      const said = make("dl");
      const line = (name, words) => words && said.append(make("dt", name), make("dd", words));
      line("Planned", note.words);
      line("Why", note.why);
      line("What it lost to", note.lost.replace(/^left plain: /, ""));
      told.replaceChildren(make("h3", `${note.place}: ${note.pitch}`), said);
      asking.hidden = false;
    }
    asking.querySelector(".close").addEventListener("click", () => {
      asking.hidden = true;
      for (const one of section.querySelectorAll(".asked")) one.classList.remove("asked");
      seen(section).querySelector(`.note[data-n="${current}"]`)?.focus({ preventScroll: true });
      asking.hidden = true; // a focused note asks; this one is done with
    });
    for (const music of section.querySelectorAll(".music")) {
      const notes = [...music.querySelectorAll(".note")];
      notes[0]?.setAttribute("tabindex", "0");
      const number = (event) => Number(event.target.closest?.(".note")?.dataset.n ?? -1);
      music.addEventListener("click", (event) => tell(number(event)));
      music.addEventListener("focusin", (event) => tell(number(event)));
      music.addEventListener("keydown", (event) => {
        const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
        const at = notes.findIndex((one) => one === event.target.closest(".note"));
        const to = notes[at + step];
        if (!step || at < 0 || !to) return;
        event.preventDefault();
        for (const one of notes) one.setAttribute("tabindex", "-1");
        to.setAttribute("tabindex", "0");
        to.focus();
      });
    }
    form.addEventListener("submit", (event) => event.preventDefault());
    form.querySelector("select").addEventListener("change", (event) => {
      if (current !== null && event.target.value) wishes.set(current, event.target.value);
      event.target.value = "";
      show();
    });
  }

  const quoted = (text) =>
    `"${[...text].filter((c) => c >= " " && c !== "\u007f").join("").replaceAll("\\", "\\\\").replaceAll('"', '\\"')}"`;
  document.getElementById("save").addEventListener("click", (event) => {
    const who = document.getElementById("who").value.trim();
    const lines = [`# What ${who.replace(/[^\p{L}\p{N} .'-]/gu, "") || "a section leader"} would do. Give it back with --decisions.`, ""];
    let count = 0;
    for (const { data, wishes, section } of asked.values()) {
      const reading = section.querySelector(".reading")?.value ?? "";
      const words = section.querySelector("textarea").value.trim();
      if (!wishes.size && !reading && !words) continue;
      count += wishes.size + Boolean(reading) + Boolean(words);
      lines.push("[[passage]]", `id = ${quoted(data.id)}`, `lead = ${quoted(data.lead)}`);
      if (reading) lines.push(`reading = ${quoted(reading)}`);
      if (words) lines.push(`comment = ${quoted((who ? `${who}: ` : "") + words.replaceAll("\n", " / "))}`);
      const said = [...wishes].map(([n, wish]) =>
        `  ${quoted(data.notes.find((one) => one.n === n).line.replace("| @ |", `| ${wish} |`))},`);
      lines.push("lines = [", ...said, "]", "");
    }
    if (!count) {
      document.getElementById("saved").textContent = "You have said nothing yet.";
      return;
    }
    const link = make("a");
    link.href = URL.createObjectURL(new Blob([lines.join("\n")], { type: "application/toml" }));
    link.download = event.target.dataset.file;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
    document.getElementById("saved").textContent = `Saved ${count} ${count === 1 ? "thing" : "things"} as ${link.download}: send it to your director.`;
  });
})();
