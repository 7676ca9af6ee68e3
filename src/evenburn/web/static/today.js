// Drag a piece to another place. What can be done here can be done without it: each grip opens to four buttons.

const STARTS_px = 5;
let held = null;

const rows = () => [...document.querySelectorAll(".day .one")];
const clear = () => rows().forEach((row) => row.classList.remove("drop-before", "drop-after"));

// the row that the held one would come before; null for the end
function placeAt(y) {
  const others = rows().filter((row) => row !== held.row);
  const next = others.find((row) => {
    const box = row.getBoundingClientRect();
    return y < box.top + box.height / 2;
  });
  clear();
  if (next) next.classList.add("drop-before");
  else others.at(-1)?.classList.add("drop-after");
  return next ?? null;
}

function moveTo(next) {
  const form = document.getElementById("move");
  const before = document.createElement("input");
  before.type = "hidden";
  before.name = "before";
  before.value = next ? next.dataset.piece : after(rows().at(-1));
  form.append(before);
  form.action = `/pieces/${held.row.dataset.piece}/move`;
  form.submit();
}

// the piece that follows the last one shown, on the next page; "end" where none does
const after = (last) => last?.closest("table").dataset.following || "end";

document.addEventListener("pointerdown", (event) => {
  const grip = event.target.closest?.(".grip summary");
  if (!grip || event.button !== 0) return;
  held = { row: grip.closest(".one"), grip, from: event.clientY, scrolled: window.scrollY, moving: false };
  grip.setPointerCapture(event.pointerId);
});

document.addEventListener("pointermove", (event) => {
  if (!held) return;
  const by = event.clientY - held.from + window.scrollY - held.scrolled;
  if (!held.moving && Math.abs(by) < STARTS_px) return;
  if (!held.moving) {
    held.moving = true;
    held.row.classList.add("dragged");
    document.documentElement.classList.add("dragging");
  }
  held.row.style.transform = `translateY(${by}px)`;
  if (event.clientY < 60) window.scrollBy(0, -12);
  if (event.clientY > window.innerHeight - 60) window.scrollBy(0, 12);
  held.next = placeAt(event.clientY);
});

function drop(event) {
  if (!held) return;
  const { row, grip, moving, next } = held;
  const kept = moving && event.type === "pointerup";
  row.style.transform = "";
  row.classList.remove("dragged");
  document.documentElement.classList.remove("dragging");
  clear();
  if (moving) grip.addEventListener("click", (click) => click.preventDefault(), { once: true });
  const list = rows();
  const at = list.indexOf(row);
  const stays = next === undefined || list[at + 1] === next || (next === null && at === list.length - 1);
  if (kept && !stays) moveTo(next);
  held = null;
}
document.addEventListener("pointerup", drop);
document.addEventListener("pointercancel", drop);
document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && held) drop(event);
  const grip = event.target.closest?.(".grip summary");
  const way = { ArrowUp: "earlier", ArrowDown: "later" }[event.key];
  if (!grip || !way) return;
  event.preventDefault();
  grip.parentElement.querySelector(`button[value="${way}"]`).click();
});

// an open grip closes when something else is pressed
document.addEventListener("click", (event) => {
  for (const open of document.querySelectorAll(".grip[open]")) if (!open.contains(event.target)) open.open = false;
});
