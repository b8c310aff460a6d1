// One sound at a time: play, slow down, loop between bars, count in, click; and the player's ticks.
"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const audio = new Audio();
  audio.preload = "auto";
  audio.preservesPitch = audio.webkitPreservesPitch = true;
  window.practice = { audio, data };
  let clicks = null; // the audio context of count-in and click
  let now = null; // what is playing: its box, piece, begin, end, rate
  let wait = 0;

  const chosen = (box, name) => box.querySelector(`input[name^="${name}-"]:checked`).value;

  function tick(at, first) {
    const tone = clicks.createOscillator();
    const loud = clicks.createGain();
    tone.frequency.value = first ? 1600 : 1100;
    loud.gain.setValueAtTime(0.25, at);
    loud.gain.exponentialRampToValueAtTime(0.001, at + 0.04);
    tone.connect(loud).connect(clicks.destination);
    tone.start(at);
    tone.stop(at + 0.05);
  }

  // each passage shows the lines of the part that it stands in
  const part = [...document.querySelectorAll("#part .strip")];
  for (const own of document.querySelectorAll(".own")) {
    const [first, last] = [+own.dataset.first, +own.dataset.last];
    const here = part.filter((strip) => strip.dataset.first <= last && strip.dataset.last >= first);
    own.append(...here.map((strip) => strip.cloneNode(true)));
  }

  // the bar that sounds: the last one drawn that begins at it or before, as in a rest of many bars
  function shade(box, index) {
    const music = box.parentElement.querySelector(".own") || document.getElementById("part");
    let found = null;
    for (const bar of music ? music.querySelectorAll(".bar") : []) {
      bar.classList.remove("now");
      if (index !== null && +bar.dataset.bar <= index) found = bar;
    }
    if (found) found.classList.add("now");
  }

  function stop() {
    clearTimeout(wait);
    audio.pause();
    if (!now) return;
    shade(now.box, null);
    now.box.querySelector(".play").textContent = "Play";
    now.box.querySelector(".where").textContent = "";
    now = null;
  }

  function stretch(box, piece) {
    const from = +box.querySelector(".from").value;
    const to = Math.max(from, +box.querySelector(".to").value);
    box.querySelector(".to").value = to;
    const after = piece.bars[to + 1];
    return [piece.bars[from][1], after ? after[1] : piece.end];
  }

  function play(box) {
    stop();
    const piece = data.pieces[box.dataset.piece];
    const rate = chosen(box, "tempo") / 100;
    const [begin, end] = stretch(box, piece);
    clicks = clicks || new AudioContext();
    clicks.resume();
    now = { box, piece, begin, end, rate, told: -1, bar: -1 };
    box.querySelector(".play").textContent = "Stop";
    audio.src = piece.takes[chosen(box, "take")];
    audio.playbackRate = audio.defaultPlaybackRate = rate;
    const mine = now;
    const start = () => {
      if (now !== mine) return;
      audio.currentTime = begin;
      audio.play().catch(() => {
        if (now !== mine) return;
        stop();
        box.querySelector(".where").textContent = "The sound is missing: keep the folder together.";
      });
    };
    if (!box.querySelector(".count").checked) return start();
    const here = piece.beats.filter(([second]) => second >= begin - 0.001);
    const step = ((here[1] || [piece.end])[0] - here[0][0]) / rate;
    const bar = piece.beats.findIndex(([second, first], n) => first && n && second > begin + 0.001);
    const at = piece.beats.findIndex(([second]) => second >= begin - 0.001);
    const beats = Math.max(2, (bar > at ? bar : piece.beats.length) - at);
    for (let n = 0; n < beats; n++) tick(clicks.currentTime + 0.1 + n * step, n === 0);
    box.querySelector(".where").textContent = "Count in";
    wait = setTimeout(start, 1000 * (0.1 + beats * step));
  }

  function watch() {
    if (now && !audio.paused) {
      const { box, piece, begin, end, rate } = now;
      const at = audio.currentTime;
      if (box.querySelector(".click").checked) {
        for (const [second, first] of piece.beats) {
          const away = (second - at) / rate;
          if (second > now.told + 0.01 && away > 0 && away < 0.12 && second < end - 0.01) {
            tick(clicks.currentTime + away, first);
            now.told = second;
          }
        }
      }
      if (at >= end - 0.005 && (box.querySelector(".loop").checked || end < piece.end)) {
        if (box.querySelector(".loop").checked) {
          audio.currentTime = begin;
          now.told = begin - 0.05;
        } else stop();
      } else {
        let bar = 0;
        piece.bars.forEach(([, second], n) => { if (second <= at + 0.01) bar = n; });
        if (bar !== now.bar) {
          now.bar = bar;
          box.querySelector(".where").textContent = `Bar ${piece.bars[bar][0]}`;
          shade(box, piece.bars[bar][2]);
        }
      }
    }
    setTimeout(watch, 20);
  }

  audio.addEventListener("ended", () => {
    if (now && now.box.querySelector(".loop").checked) {
      audio.currentTime = now.begin;
      now.told = -1;
      audio.play();
    } else stop();
  });
  for (const box of document.querySelectorAll(".player")) {
    box.querySelector(".play").addEventListener("click", () => (now && now.box === box ? stop() : play(box)));
    box.addEventListener("change", (event) => {
      if (!now || now.box !== box) return;
      if (event.target.name && event.target.name.startsWith("tempo-")) {
        now.rate = event.target.value / 100;
        audio.playbackRate = audio.defaultPlaybackRate = now.rate;
      } else if (event.target.name || event.target.matches("select")) play(box);
    });
  }

  // what the player can do, kept in this browser alone
  const code = document.getElementById("code");
  let can = {};
  try {
    can = JSON.parse(localStorage.getItem(data.key)) || {};
  } catch {
    can = {}; // a browser that keeps nothing: ticks last as long as the page
  }
  function tell() {
    const said = Object.keys(data.pieces).filter((id) => can[id]);
    if (code) code.value = said.length ? `${data.part}: ${said.map((id) => `${id} (bar ${data.pieces[id].bars[0][0]}) ${can[id]}`).join(", ")}` : "Nothing ticked yet";
  }
  for (const box of document.querySelectorAll(".can")) {
    const id = box.dataset.piece;
    const known = box.querySelector(`input[value="${Number(can[id]) || 0}"]`);
    if (known) known.checked = true;
    box.addEventListener("change", (event) => {
      can[id] = Number(event.target.value);
      try {
        localStorage.setItem(data.key, JSON.stringify(can));
      } catch {
        // nothing is kept here
      }
      tell();
    });
  }
  if (code) code.addEventListener("focus", () => code.select());
  tell();
  watch();
})();
