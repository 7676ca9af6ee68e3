"use strict";
// Sends each photograph by itself, so that one sees how far it is. Without this the page's form does the same at once.
document.documentElement.dataset.script = "on";
const form = document.getElementById("send");
const list = document.getElementById("list");
const left = document.getElementById("left");
const waiting = [];
let sending = false;

const mb = (bytes) => (bytes / 1e6).toFixed(1);
const inWords = (s) => (s >= 60 ? `${Math.floor(s / 60)}\u00a0min ${String(Math.floor(s % 60)).padStart(2, "0")}\u00a0s` : `${Math.max(1, Math.round(s))}\u00a0s`);

if (left) {
  const closes = performance.now() + 1000 * Number(left.dataset.leftS);
  const tick = () => {
    const still = (closes - performance.now()) / 1000;
    if (still <= 0 && !sending) { location.reload(); return; }
    left.textContent = inWords(Math.max(0, still));
    setTimeout(tick, 1000);
  };
  tick();
}

function row(file) {
  const made = document.getElementById("row").content.firstElementChild.cloneNode(true);
  const picture = made.querySelector("img");
  picture.addEventListener("error", () => {
    const none = document.createElement("span");
    none.className = "picture";
    picture.replaceWith(none);
  });
  picture.src = URL.createObjectURL(file);
  made.querySelector("b").textContent = "Waits";
  made.querySelector("p").textContent = file.name;
  list.prepend(made);
  return made;
}

function say(made, what, more, kind) {
  made.querySelector("b").textContent = what;
  made.querySelector("p").textContent = more;
  if (kind) { made.className = kind; made.querySelector("progress").remove(); }
}

function send({ file, made }) {
  return new Promise((settled) => {
    if (file.size > Number(form.dataset.mostBytes)) {
      say(made, "Not used: too large", `${mb(file.size)}\u00a0MB; allowed are ${mb(Number(form.dataset.mostBytes))}\u00a0MB.`, "turned");
      settled();
      return;
    }
    const body = new FormData();
    body.append(form.querySelector("input").name, file, file.name);
    const call = new XMLHttpRequest();
    const began = performance.now();
    call.upload.addEventListener("progress", (event) => {
      const gone = (performance.now() - began) / 1000;
      const still = gone * (event.total - event.loaded) / Math.max(1, event.loaded);
      made.querySelector("progress").value = event.loaded / event.total;
      say(made, `Sending, ${mb(event.loaded)} of ${mb(event.total)}\u00a0MB`, event.loaded < event.total ? `about ${inWords(still)} left` : "being looked at");
    });
    call.addEventListener("load", () => {
      let told = {};
      try { told = JSON.parse(call.responseText); } catch { told = {}; }
      if (told.ok) say(made, "Arrived", `${file.name}, ${mb(file.size)}\u00a0MB`, "came");
      else say(made, `Not used: ${told.error || "the computer gave no answer"}`, `${file.name}. ${told.hint || ""}`, "turned");
      settled();
    });
    call.addEventListener("error", () => {
      say(made, "Not sent: the computer does not answer", "Is the phone still in the same Wi-Fi, and the page still switched on?", "turned");
      settled();
    });
    call.open("POST", form.action);
    call.setRequestHeader("Accept", "application/json");
    call.send(body);
  });
}

async function work() {
  if (sending) return;
  sending = true;
  while (waiting.length) await send(waiting.shift());
  sending = false;
}

if (form) {
  for (const input of form.querySelectorAll("input[type=file]")) {
    input.addEventListener("change", () => {
      for (const file of input.files) waiting.push({ file, made: row(file) });
      input.value = "";
      work();
    });
  }
  document.getElementById("done").addEventListener("submit", (event) => {
    if (sending) { event.preventDefault(); list.firstElementChild.scrollIntoView(); }
  });
}
