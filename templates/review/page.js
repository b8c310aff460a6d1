// What every page does: it decides, takes steps back, and is told when the plan changes, here or
// elsewhere.
const say = document.getElementById("say");
const question = document.getElementById("question");
const LOOK = 1000; // milliseconds between two looks at the plan

export const version = () => Number(document.body.dataset.version);

export function tell(words, wrong = false) {
  say.textContent = words;
  say.classList.toggle("wrong", wrong);
}

async function send(address, wish) {
  return fetch(address, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify({ version: version(), ...wish }),
  });
}

function asks(words) {
  document.getElementById("asks").textContent = words;
  question.returnValue = "leave";
  question.showModal();
  return new Promise((done) => {
    question.addEventListener("close", () => done(question.returnValue === "insist"), { once: true });
  });
}

// Have something decided; what comes back is shown by whoever listens for "decided".
export async function decide(address, wish) {
  try {
    let answer = await send(address, wish);
    if (answer.status === 409) {
      const insists = await asks((await answer.json()).question);
      if (!insists) return look();
      answer = await send(address, { ...wish, insist: true });
    }
    if (answer.status === 422) return tell((await answer.json()).failed, true);
    if (!answer.ok) return gone(answer);
    const news = await answer.json();
    if ("version" in news) take(news);
    tell("");
    document.dispatchEvent(new CustomEvent("decided", { detail: news }));
  } catch {
    gone();
  }
}

function gone(answer) {
  tell(
    answer && answer.status !== 403
      ? `That could not be done (${answer.status}).`
      : "The program behind this page has stopped, or was started anew. All that was decided is in the plan file. Start it again and open the address that it prints.",
    true,
  );
}

function take(news) {
  document.body.dataset.version = news.version;
  for (const name of ["undo", "redo"]) {
    document.getElementById(name).disabled = !news[name];
    document.getElementById(`${name}-says`).textContent = news[name] ? `: ${news[name]}` : "";
  }
}

let trouble = say.textContent;
let looked = document.body.dataset.looked === "True";
async function look() {
  if (document.hidden) return;
  try {
    const answer = await fetch("/version");
    if (!answer.ok) return gone(answer);
    const news = await answer.json();
    if (say.textContent.startsWith("The program behind")) tell("");
    if (news.trouble !== trouble) tell(news.trouble, Boolean(news.trouble));
    trouble = news.trouble;
    const fresh = news.version !== version();
    if (fresh) {
      if (news.news && !news.trouble) tell(news.news);
      take(news);
    }
    if (fresh || (news.looked && looked === false))
      document.dispatchEvent(new CustomEvent("changed", { detail: news }));
    looked = news.looked;
  } catch {
    gone();
  }
}
setInterval(look, LOOK);
document.addEventListener("visibilitychange", look);
look();

export const typing = (event) =>
  event.ctrlKey || event.altKey || event.metaKey ||
  event.target.closest("input:not([type=radio]):not([type=checkbox]), select, textarea, dialog");

const again = (name) => decide(`/${name}`, globalThis.viewed?.() ?? {});
for (const name of ["undo", "redo"])
  document.getElementById(name).addEventListener("click", () => again(name));
document.addEventListener("keydown", (event) => {
  if (typing(event)) return;
  if (event.key === "z") again("undo");
  if (event.key === "y") again("redo");
});
