// The blank on the bed: moved by hand or by arrow keys, the drawing fetched as it would then lie. Every number comes from the
// server; here a distance of the hand is only put into the unit of the fields.
const form = document.querySelector("#place");
const speed = document.querySelector("#f-speed");
const field = (name) => form.elements.namedItem(name);
const read = (input) => Number.parseFloat(input.value.replace("−", "-").replace(",", ".")) || 0;
const bed = () => document.querySelector("#bed");

function write(input, value, step) {
  const digits = step < 0.05 ? 3 : 1;
  const text = value.toFixed(digits);
  input.value = (Number.parseFloat(text) === 0 ? text.replace("-", "") : text).replace("-", "−");
}

// ---- the drawing as it would be ----

let asked = null;
let waiting = 0;
async function look() {
  asked?.abort();
  asked = new AbortController();
  const query = new URLSearchParams();
  for (const name of ["place_bed_mm[1]", "place_bed_mm[2]", "turn_deg"]) query.set(name, field(name).value);
  if (speed) query.set("speed_mm_per_s", speed.value);
  try {
    const answer = await fetch(`${form.dataset.part}?${query}`, { signal: asked.signal });
    if (!answer.ok) return;
    const held = bed().contains(document.activeElement);
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    bed().replaceWith(page.querySelector("#bed"));
    if (held) bed().querySelector(".drawn")?.focus({ preventScroll: true });
    form.querySelector(".save-place").classList.add("first");
  } catch (error) {
    if (error.name !== "AbortError") throw error;
  }
}
function lookSoon(after = 60) {
  clearTimeout(waiting);
  waiting = setTimeout(look, after);
}

if (form && bed()?.dataset.pxPerUnit) {
  form.addEventListener("input", () => lookSoon(150));
  speed?.addEventListener("input", () => {
    document.querySelector("#speed-told").textContent = `${speed.value}\u00a0${speed.dataset.unit}`;
    lookSoon(30);
  });

  const move = (dx, dy) => {
    const step = Number(bed().dataset.step);
    write(field("place_bed_mm[1]"), read(field("place_bed_mm[1]")) + dx, step);
    write(field("place_bed_mm[2]"), read(field("place_bed_mm[2]")) + dy, step);
  };

  // ---- arrow keys ----
  document.addEventListener("keydown", (event) => {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
    if (!way) return;
    const step = Number(bed().dataset.step) * (event.shiftKey ? 10 : 1);
    if (event.target.closest?.("#bed .drawn")) {
      event.preventDefault();
      move(way[0] * step, way[1] * step);
      lookSoon();
    } else if (event.target.form === form && event.target.inputMode === "decimal" && way[1]) {
      event.preventDefault();
      write(event.target, read(event.target) + way[1] * step, step);
      lookSoon();
    }
  });

  // ---- by hand ----
  let from = null;
  document.addEventListener("pointerdown", (event) => {
    const lying = event.target.closest?.("#lying");
    if (!lying || event.button !== 0) return;
    const svg = lying.ownerSVGElement;
    const drawnWidth = svg.viewBox.baseVal.width / svg.getBoundingClientRect().width;
    from = { x: event.clientX, y: event.clientY, lying, drawnWidth, at: [read(field("place_bed_mm[1]")), read(field("place_bed_mm[2]"))] };
    svg.setPointerCapture(event.pointerId);
    event.preventDefault();
    svg.closest(".drawn").focus({ preventScroll: true });
  });
  document.addEventListener("pointermove", (event) => {
    if (!from) return;
    const per = Number(bed().dataset.pxPerUnit);
    const dx = (event.clientX - from.x) * from.drawnWidth;
    const dy = (event.clientY - from.y) * from.drawnWidth;
    from.lying.setAttribute("transform", `translate(${dx.toFixed(1)} ${dy.toFixed(1)})`);
    const step = Number(bed().dataset.step);
    write(field("place_bed_mm[1]"), from.at[0] + dx / per, step);
    write(field("place_bed_mm[2]"), from.at[1] - dy / per, step);
  });
  for (const end of ["pointerup", "pointercancel"]) {
    document.addEventListener(end, () => {
      if (from) look();
      from = null;
    });
  }

  document.querySelector("[data-turn]")?.addEventListener("click", (event) => {
    const turned = (read(field("turn_deg")) + Number(event.currentTarget.dataset.turn)) % 360;
    field("turn_deg").value = String(turned);
    look();
  });
}

// ---- planning beside the page: when it is done the page is loaded anew, but never over something that was typed ----

let typed = false;
document.addEventListener("input", (event) => { typed ||= event.target.form?.method === "post" && !event.target.closest(".set-up"); });
async function follow() {
  const part = document.querySelector("#job");
  if (!part?.dataset.part) return;
  const answer = await fetch(part.dataset.part).catch(() => null);
  if (answer?.ok) {
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const next = page.querySelector("#job");
    const over = !next.dataset.part;
    if (next.dataset.done && !typed) return void location.reload();
    part.replaceWith(next);
    if (over) return;
  }
  setTimeout(follow, 1000);
}
if (document.querySelector("#job")?.dataset.part) setTimeout(follow, 700);

// ---- fields that only some shapes or treatments have ----

for (const [name, key] of [["treatment", "treatment"], ["blank.shape", "shape"]]) {
  for (const chooser of document.querySelectorAll(`select[name$="${name}"]`)) {
    const sort = () => {
      for (const part of chooser.form.querySelectorAll(`[data-${key}]`)) {
        part.hidden = !part.dataset[key].split(" ").includes(chooser.value);
      }
    };
    chooser.addEventListener("change", sort);
    sort();
  }
}

// ---- ticks at the machine stay until the plan changes; they are only of this browser ----

const list = document.querySelector(".set-up");
if (list) {
  const key = `set-up ${list.dataset.keep}`;
  const boxes = [...list.querySelectorAll("input")];
  const kept = (sessionStorage.getItem(key) ?? "").split(" ");
  boxes.forEach((box, i) => { box.checked = kept.includes(String(i)); });
  list.addEventListener("change", () => {
    sessionStorage.setItem(key, boxes.flatMap((box, i) => (box.checked ? [i] : [])).join(" "));
  });
}

// ---- timers ----

function left() {
  for (const one of document.querySelectorAll("time[data-until]")) {
    const minutes = Math.ceil((new Date(one.dataset.until) - Date.now()) / 60000);
    one.title = one.title || one.textContent;
    if (minutes <= 0) {
      one.textContent = "done";
      one.classList.add("over");
    } else {
      const hours = Math.floor(minutes / 60);
      one.textContent = `${hours ? `${hours}\u00a0h ` : ""}${minutes % 60}\u00a0min left`;
    }
  }
}
left();
setInterval(left, 20000);

// ---- a form that came back: on to the first entry that does not hold ----

document.querySelector('details[open] [aria-invalid="true"], #place [aria-invalid="true"], .new-piece [aria-invalid="true"]')?.focus();

// ---- a change is under way ----

document.addEventListener("submit", (event) => event.target.classList.add("is-sent"));
window.addEventListener("pageshow", () => {
  for (const one of document.forms) one.classList.remove("is-sent");
});

// ---- the name of a new batch, only where one is begun ----

const batch = document.querySelector('select[name="batch"]');
if (batch) {
  const sort = () => { document.querySelector("[data-batch]").hidden = batch.value !== "+"; };
  batch.addEventListener("change", sort);
  sort();
}
