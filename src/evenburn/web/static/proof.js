// The proof looked at close: a window on the board that moves, nears and is asked for at other settings. Pictures and
// figures come from the server; here they are only placed.

const TILE = 512;
const LEVELS = [-6, 18]; // of half powers of two, in pixels to a millimetre
const KEPT = 96; // tiles in memory
const STEP = Math.SQRT2;
const WARN = "#5a3aa0";
const WORDS = ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"];
const NB = "\u00a0";

const viewer = document.getElementById("viewer");
if (viewer) begin(viewer).catch((error) => {
  console.error(error); // the proof that was planned stays to be seen
  viewer.querySelector(".waits").hidden = true;
});

async function begin(root) {
  const { lookAt, toldAt, windowAt, tilesAt, plan, of, unit } = root.dataset;
  const find = (name) => root.querySelector(name);
  find(".waits").hidden = false;
  const answer = await fetch(lookAt);
  if (!answer.ok) throw new Error("no look");
  const look = await answer.json();
  const [boardWidth, boardHeight] = look.size_mm;

  const canvas = find(".close canvas"), pen = canvas.getContext("2d");
  const whole = find(".whole img"), frames = find(".frames"), thread = root.querySelectorAll(".thread path");
  const offset = find("#viewer-offset"), spacing = find("#viewer-spacing"), lostToo = find("#viewer-lost");
  const chosen = find("#viewer-mark"), told = document.getElementById("told");
  const dense = Math.min(window.devicePixelRatio || 1, 2);

  let mark = read(chosen ? chosen.selectedOptions[0].dataset : find(".offsets").dataset, chosen?.value);
  const view = { x: look.start_mm[0], y: look.start_mm[1], scale: 1 }; // middle in mm; CSS pixels to a mm
  const want = { offset: null, spacing: null }; // null is as planned
  let held = null; // the last whole picture: {image, left, top, mm, setting}
  const tiles = new Map(), asked = new Map();
  let busy = false, again = false, painting = 0;

  find(".still").hidden = true;
  for (const part of [".stage", ".moves", ".settings"]) find(part).hidden = false;
  frames.setAttribute("viewBox", `0 0 ${boardWidth} ${boardHeight}`);
  // ---- what is asked of the server ----

  function read(data, id) {
    const list = (text) => (text ? text.split(" ").map(Number) : []);
    return { id: id || data.mark, offset: +data.offset, spacing: +data.spacing, offsets: list(data.offsets), spacings: list(data.spacings) };
  }

  function setting() {
    return `${mark.id}|${want.offset ?? ""}|${want.spacing ?? ""}`;
  }

  function query(extra = {}) {
    const asks = new URLSearchParams({ plan, of, mark: mark.id, ...extra });
    if (want.offset !== null && !asks.has("offset")) asks.set("offset", want.offset);
    if (want.spacing !== null) asks.set("spacing", want.spacing);
    return asks;
  }

  async function picture(address, signal) {
    const got = await fetch(address, { signal });
    if (!got.ok) throw new Error(String(got.status));
    return createImageBitmap(await got.blob());
  }

  function windowAddress(width, height, scale, extra) {
    const asks = query({ x: view.x.toFixed(4), y: view.y.toFixed(4), scale: scale.toFixed(5), width, height, ...extra });
    return `${windowAt.split("?")[0]}?${asks}`;
  }

  // one whole window at the setting that is wanted; while it is made, the newest wish waits and the older ones are forgotten
  async function ask() {
    if (busy) { again = true; return; }
    busy = true;
    do {
      again = false;
      const now = setting(), at = { ...view }, width = canvas.width, height = canvas.height, mm = 1 / (at.scale * dense);
      try {
        const image = await picture(windowAddress(width, height, at.scale * dense));
        held = { image, left: at.x - 0.5 * width * mm, top: at.y - 0.5 * height * mm, mm, setting: now };
        root.dataset.shown = now;
        paint();
      } catch { /* the picture that stands there stays */ }
    } while (again || held?.setting !== setting() && !again && retry());
    busy = false;
    fill();
    three();
  }

  let tries = 0;
  function retry() {
    tries += 1;
    return tries < 3;
  }

  function level() {
    return Math.min(Math.max(Math.ceil(2 * Math.log2(view.scale * dense) - 0.02), LEVELS[0]), LEVELS[1]);
  }

  function seen(mm) {
    const side = TILE * mm, w = canvas.width / view.scale / dense, h = canvas.height / view.scale / dense;
    return {
      c0: Math.floor(Math.max(view.x - w / 2, 0) / side), c1: Math.floor(Math.min(view.x + w / 2, boardWidth - 1e-6) / side),
      r0: Math.floor(Math.max(view.y - h / 2, 0) / side), r1: Math.floor(Math.min(view.y + h / 2, boardHeight - 1e-6) / side),
    };
  }

  function covered() {
    if (!held || held.setting !== setting() || held.mm > 1.02 / (view.scale * dense)) return false;
    const w = canvas.width / view.scale / dense / 2, h = canvas.height / view.scale / dense / 2, slack = held.mm;
    return held.left <= Math.max(view.x - w, 0) + slack && held.top <= Math.max(view.y - h, 0) + slack
      && held.left + held.image.width * held.mm >= Math.min(view.x + w, boardWidth) - slack
      && held.top + held.image.height * held.mm >= Math.min(view.y + h, boardHeight) - slack;
  }

  // tiles for what is seen, the middle first; what nobody waits for any more is called off
  function fill() {
    const at = level(), mm = 2 ** (-at / 2), now = setting(), wanted = [];
    if (held && held.setting !== now) return;
    if (!covered()) {
      const { c0, c1, r0, r1 } = seen(mm);
      for (let r = r0; r <= r1; r++) for (let c = c0; c <= c1; c++) wanted.push([c, r]);
      const near = ([c, r]) => Math.hypot((c + 0.5) * TILE * mm - view.x, (r + 0.5) * TILE * mm - view.y);
      wanted.sort((a, b) => near(a) - near(b));
    }
    const keys = new Set(wanted.map(([c, r]) => `${now}|${at}|${c}|${r}`));
    for (const [key, stop] of asked) if (!keys.has(key)) { stop.abort(); asked.delete(key); }
    for (const [c, r] of wanted) {
      const key = `${now}|${at}|${c}|${r}`;
      if (tiles.has(key)) { const tile = tiles.get(key); tiles.delete(key); tiles.set(key, tile); continue; }
      if (asked.has(key)) continue;
      const stop = new AbortController();
      asked.set(key, stop);
      picture(`${tilesAt}/${at}/${c}/${r}.png?${query()}`, stop.signal).then((image) => {
        tiles.set(key, { image, left: c * TILE * mm, top: r * TILE * mm, mm, setting: now, level: at });
        while (tiles.size > KEPT) { const [oldest, tile] = tiles.entries().next().value; tile.image.close(); tiles.delete(oldest); }
        asked.delete(key);
        paint();
      }).catch(() => asked.delete(key));
    }
  }

  // ---- what is drawn ----

  function paint() {
    if (!painting) painting = requestAnimationFrame(() => { painting = 0; draw(); });
  }

  function place({ image, left, top, mm }) {
    const s = view.scale * dense, x = (left - view.x) * s + canvas.width / 2, y = (top - view.y) * s + canvas.height / 2;
    const x1 = (left + image.width * mm - view.x) * s + canvas.width / 2, y1 = (top + image.height * mm - view.y) * s + canvas.height / 2;
    pen.drawImage(image, Math.round(x), Math.round(y), Math.round(x1) - Math.round(x), Math.round(y1) - Math.round(y));
  }

  function draw() {
    pen.fillStyle = "#6c706c";
    pen.fillRect(0, 0, canvas.width, canvas.height);
    pen.imageSmoothingQuality = "high";
    const now = setting();
    if (held) place(held);
    if (!held || held.setting === now) {
      const mine = [...tiles.values()].filter((tile) => tile.setting === now).sort((a, b) => a.level - b.level);
      for (const tile of mine) if (!held || tile.mm <= held.mm * 1.5 || !covered()) place(tile);
      if (held && covered()) place(held);
    }
    if (lostToo.checked) frame();
    about();
  }

  function frame() {
    const s = view.scale * dense;
    for (const one of look.lost) {
      const [a, b, c, d] = one.box_on_board;
      const grow = 6 * dense;
      const x = (a * boardWidth - view.x) * s + canvas.width / 2 - grow, y = ((1 - d) * boardHeight - view.y) * s + canvas.height / 2 - grow;
      const w = (c - a) * boardWidth * s + 2 * grow, h = (d - b) * boardHeight * s + 2 * grow;
      for (const [wide, colour] of [[5, "#fff"], [2.5, WARN]]) {
        pen.lineWidth = wide * dense;
        pen.strokeStyle = colour;
        pen.lineCap = one.kind === "fill" ? "round" : "butt";
        pen.setLineDash(colour === "#fff" ? [] : one.kind === "fill" ? [0.1, 6 * dense] : [10 * dense, 6 * dense]);
        pen.strokeRect(x, y, w, h);
      }
    }
    pen.setLineDash([]);
  }

  function showLost() {
    const count = (kind) => look.lost.filter((one) => one.kind === kind).reduce((sum, one) => sum + one.count, 0);
    const gone = count("vanish"), full = count("fill");
    const said = [gone && `${gone} ${gone === 1 ? "stroke vanishes" : "strokes vanish"}`, full && `${full} ${full === 1 ? "gap fills" : "gaps fill"}`].filter(Boolean).join(", ");
    const label = find(".lost-too");
    label.hidden = !said;
    label.querySelector("span").textContent = `Frame what will be lost as planned: ${said}`;
    const group = find(".frames .lost");
    for (const one of look.lost) {
      const [a, b, c, d] = one.box_on_board, grow = 0.006 * boardWidth;
      for (const name of ["case", one.kind]) {
        const box = document.createElementNS("http://www.w3.org/2000/svg", "rect");
        box.setAttribute("class", name);
        const at = { x: a * boardWidth - grow, y: (1 - d) * boardHeight - grow, width: (c - a) * boardWidth + 2 * grow, height: (d - b) * boardHeight + 2 * grow };
        for (const [key, value] of Object.entries(at)) box.setAttribute(key, value);
        group.append(box);
      }
    }
  }

  // the frame on the board, the scale bar, and the same in words
  function about() {
    const w = canvas.width / dense / view.scale, h = canvas.height / dense / view.scale;
    const least = 0.012 * boardWidth, fw = Math.max(Math.min(w, boardWidth), least), fh = Math.max(Math.min(h, boardHeight), least / 2);
    const x = Math.min(Math.max(view.x - fw / 2, 0), boardWidth - fw), y = Math.min(Math.max(view.y - fh / 2, 0), boardHeight - fh);
    for (const box of [find(".frames > .case"), find(".frames > .at")]) for (const [key, value] of Object.entries({ x, y, width: fw, height: fh })) box.setAttribute(key, value);
    const stage = find(".stage").getBoundingClientRect(), board = whole.getBoundingClientRect(), close = canvas.getBoundingClientRect();
    const px = board.width / boardWidth, fx = board.left - stage.left + (x + fw) * px, fy = board.top - stage.top + (y + fh / 2) * px;
    const beside = close.left >= board.right - 1 && w < boardWidth;
    for (const line of thread) line.setAttribute("d", beside ? `M${fx} ${fy}H${close.left - stage.left}` : "");
    bar();
    const per = unit === "in" ? 25.4 : 1, name = unit === "in" ? "in" : "mm";
    const num = (value, digits) => (value / per).toFixed(unit === "in" ? digits + 1 : digits);
    find("#viewer-where").textContent = `${num(w, w < 10 ? 1 : 0)} × ${num(h, h < 10 ? 1 : 0)}${NB}${name} of the board, its middle ${num(view.x, 0)}${NB}${name} from the left and ${num(view.y, 0)}${NB}${name} from above`;
  }

  function bar() {
    const per = unit === "in" ? 25.4 : 1, most = Math.min(150, (0.3 * canvas.width) / dense) / view.scale / per;
    const power = 10 ** Math.floor(Math.log10(most)), round = [5, 2, 1].find((n) => n * power <= most) * power;
    const wide = round * per * view.scale, svg = find(".bar svg");
    svg.setAttribute("width", Math.ceil(wide) + 2);
    svg.firstElementChild.setAttribute("d", `M1 2v10M${wide + 1} 2v10M1 7h${wide}`);
    const lines = (round * per) / (want.spacing ?? mark.spacing), many = lines < 2 ? Math.round(lines * 10) / 10 : Math.round(lines);
    const counted = mark.spacings.length && lines >= 0.9 ? `, ${WORDS[many] ?? many} scan ${many === 1 ? "line" : "lines"}` : "";
    const how = want.offset === null && want.spacing === null ? "as planned" : [want.offset !== null && `offset ${signed(want.offset)}`, want.spacing !== null && `lines ${spaced(want.spacing)} apart`].filter(Boolean).join(", ");
    find(".bar span").textContent = `${+round.toPrecision(3)}${NB}${unit}; ${how}${counted}`;
  }

  function signed(value) {
    const text = unit === "in" ? (Math.abs(value) / 25.4).toFixed(3) : Math.abs(value).toFixed(1);
    return `${value > 0.04 ? "+" : value < -0.04 ? "−" : ""}${text}${NB}${unit}`;
  }

  function spaced(value) {
    if (unit === "in") return `${(value / 25.4).toFixed(4)}${NB}in`;
    return `${value.toFixed(Math.abs(value * 100 - Math.round(value * 100)) < 1e-6 ? 2 : 3)}${NB}mm`;
  }

  // ---- moving ----

  function fit() {
    const room = find(".close").getBoundingClientRect();
    const wide = Math.max(Math.round(room.width), 50), high = Math.max(Math.round(room.height), 50);
    if (canvas.width !== wide * dense || canvas.height !== high * dense) {
      canvas.width = wide * dense;
      canvas.height = high * dense;
    }
    const board = find(".whole").getBoundingClientRect();
    const asks = new URLSearchParams({ plan, of, board: 1, width: Math.round(Math.max(board.width, 50) * dense), height: Math.round(Math.max(board.width * 1.4, 50) * dense) });
    const address = `${windowAt.split("?")[0]}?${asks}`;
    if (whole.getAttribute("src") !== address) whole.src = address;
    paint();
  }
  whole.addEventListener("load", paint);

  const most = () => 2 ** (LEVELS[1] / 2) / dense;
  const least = () => Math.min(canvas.width / dense / boardWidth, canvas.height / dense / boardHeight) * 0.96;

  function bound() {
    view.scale = Math.min(Math.max(view.scale, least()), most());
    view.x = Math.min(Math.max(view.x, 0), boardWidth);
    view.y = Math.min(Math.max(view.y, 0), boardHeight);
  }

  let rest = 0;
  function settle(soon = false) {
    bound();
    paint();
    clearTimeout(rest);
    if (!held) ask();
    else rest = setTimeout(() => { fill(); three(); }, soon ? 0 : 60);
  }

  function near(factor, at) {
    const before = view.scale;
    view.scale *= factor;
    bound();
    if (at) {
      view.x += (at.x - canvas.width / dense / 2) * (1 / before - 1 / view.scale);
      view.y += (at.y - canvas.height / dense / 2) * (1 / before - 1 / view.scale);
    }
    settle();
  }

  function first() {
    [view.x, view.y] = look.start_mm;
    view.scale = canvas.width / dense / look.across_mm;
    settle(true);
  }

  function all() {
    Object.assign(view, { x: boardWidth / 2, y: boardHeight / 2, scale: least() });
    settle(true);
  }

  const moves = { in: () => near(STEP), out: () => near(1 / STEP), board: all, first };
  for (const button of root.querySelectorAll("[data-move]")) button.addEventListener("click", moves[button.dataset.move]);

  canvas.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const go = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    const part = event.shiftKey ? 0.5 : 0.12;
    if (go) {
      view.x += (go[0] * part * canvas.width) / dense / view.scale;
      view.y += (go[1] * part * canvas.height) / dense / view.scale;
      settle();
    } else if (event.key === "+" || event.key === "=") near(STEP);
    else if (event.key === "-" || event.key === "−") near(1 / STEP);
    else if (event.key === "0" || event.key === "Home") all();
    else if (event.key === "Enter") first();
    else return;
    event.preventDefault();
  });

  const point = (event) => { const box = canvas.getBoundingClientRect(); return { x: event.clientX - box.left, y: event.clientY - box.top }; };
  const hands = new Map();
  canvas.addEventListener("pointerdown", (event) => { canvas.setPointerCapture(event.pointerId); hands.set(event.pointerId, point(event)); canvas.focus({ preventScroll: true }); });
  canvas.addEventListener("pointermove", (event) => {
    const was = hands.get(event.pointerId);
    if (!was) return;
    const is = point(event);
    if (hands.size === 2) {
      const other = [...hands].find(([id]) => id !== event.pointerId)[1];
      const apart = (a, b) => Math.hypot(a.x - b.x, a.y - b.y);
      near(Math.max(apart(is, other), 8) / Math.max(apart(was, other), 8), { x: (is.x + other.x) / 2, y: (is.y + other.y) / 2 });
    }
    view.x -= (is.x - was.x) / view.scale / hands.size;
    view.y -= (is.y - was.y) / view.scale / hands.size;
    hands.set(event.pointerId, is);
    settle();
  });
  for (const over of ["pointerup", "pointercancel"]) canvas.addEventListener(over, (event) => hands.delete(event.pointerId));
  // the wheel belongs to the page until somebody is at work here
  canvas.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && !event.metaKey && document.activeElement !== canvas) return;
    event.preventDefault();
    near(2 ** (-event.deltaY / (event.deltaMode ? 8 : 300)), point(event));
  }, { passive: false });
  canvas.addEventListener("dblclick", (event) => near(2, point(event)));

  function pointed(event) {
    const box = whole.getBoundingClientRect();
    view.x = ((event.clientX - box.left) / box.width) * boardWidth;
    view.y = ((event.clientY - box.top) / box.height) * boardHeight;
    settle();
  }
  let dragging = false;
  find(".whole").addEventListener("pointerdown", (event) => { dragging = true; event.currentTarget.setPointerCapture(event.pointerId); pointed(event); event.preventDefault(); });
  find(".whole").addEventListener("pointermove", (event) => dragging && pointed(event));
  for (const over of ["pointerup", "pointercancel"]) find(".whole").addEventListener(over, () => { dragging = false; });

  lostToo.addEventListener("change", () => { find(".frames").classList.toggle("with-lost", lostToo.checked); paint(); });

  // ---- the sliders ----

  function scales() {
    const [low, middle, high] = mark.offsets;
    Object.assign(offset, { min: low, max: high });
    offset.value = want.offset ?? mark.offset;
    const ends = find(".ends").children;
    [low, middle, high].forEach((at, i) => { ends[i].textContent = unit === "in" ? signed(at) : `${+at.toFixed(1)}${NB}mm${Math.abs(at) < 1e-9 ? ", in focus" : ""}`.replace("-", "−"); });
    const step = high - low > 4 ? 0.5 : 0.1;
    rule(find(".offsets .ticks"), low, high, step, [low, middle, high], mark.offset);
    find(".spacings").hidden = !mark.spacings.length;
    if (mark.spacings.length) {
      const [from, to] = mark.spacings;
      Object.assign(spacing, { min: from, max: to });
      spacing.value = want.spacing ?? mark.spacing;
      rule(find(".spacings .ticks"), from, to, 0.01, [from, to], mark.spacing);
      [...find(".spacings .ends").children].forEach((end, i) => { end.textContent = spaced([from, to][i]); });
    }
    say();
  }

  function rule(svg, low, high, step, long, planned) {
    const at = (value) => `${(100 * (value - low)) / (high - low)}%`, parts = [`<line x1="0%" x2="100%" y1="14" y2="14" class="rail"/>`];
    for (let i = 0; i <= Math.round((high - low) / step); i++) parts.push(`<line x1="${at(low + i * step)}" x2="${at(low + i * step)}" y1="10" y2="18"/>`);
    for (const value of long) parts.push(`<line x1="${at(value)}" x2="${at(value)}" y1="5" y2="23" class="long"/>`);
    parts.push(`<svg x="${at(planned)}" y="24" overflow="visible"><path d="M0 1l5 8h-10z" class="planned"/></svg>`);
    svg.innerHTML = parts.join("");
  }

  function say() {
    const o = want.offset ?? mark.offset, s = want.spacing ?? mark.spacing;
    find('output[for="viewer-offset"]').textContent = `${signed(o)}${want.offset === null ? ", as planned" : ""}`;
    find('output[for="viewer-spacing"]').textContent = `${spaced(s)}, ${Math.round(25.4 / s)}${NB}LPI${want.spacing === null ? ", as planned" : ""}`;
    offset.setAttribute("aria-valuetext", `${signed(o)}${want.offset === null ? ", as planned" : ""}`);
    spacing.setAttribute("aria-valuetext", `${spaced(s)}${want.spacing === null ? ", as planned" : ""}`);
    find('[data-back="offset"]').hidden = want.offset === null;
    find('[data-back="spacing"]').hidden = want.spacing === null;
  }

  // three parts of the same place, each over its tick; an old one stays until the new one is there
  let waiting = 0;
  function three() {
    clearTimeout(waiting);
    waiting = setTimeout(async () => {
      const images = [...root.querySelectorAll(".three img")];
      const room = images[0].parentElement.getBoundingClientRect().width, wide = Math.max(Math.floor((room - 2 * 20) / 3), 60), high = Math.round(wide * 0.44);
      for (const [i, image] of images.entries()) {
        const at = mark.offsets[i];
        const address = windowAddress(Math.round(wide * dense), Math.round(high * dense), view.scale * dense, { offset: at });
        image.alt = `The same place at a focus offset of ${signed(at)}`;
        if (image.getAttribute("src") === address) continue;
        const next = new Image();
        next.src = address;
        try { await next.decode(); image.src = address; } catch { /* the old one stays */ }
      }
    }, 180);
  }

  let telling = 0, newest = 0;
  function tell() {
    clearTimeout(telling);
    const number = ++newest;
    telling = setTimeout(async () => {
      const got = await fetch(`${toldAt.split("?")[0]}?${query()}`);
      if (got.ok && number === newest) told.innerHTML = await got.text();
    }, 120);
  }

  function wish() {
    tries = 0;
    say();
    ask();
    tell();
  }
  const same = (a, b) => Math.abs(a - b) < 1e-6;
  offset.addEventListener("input", () => { const v = +offset.value; want.offset = same(v, mark.offset) ? null : v; wish(); });
  spacing.addEventListener("input", () => { const v = +spacing.value; want.spacing = same(v, mark.spacing) ? null : v; wish(); three(); });
  for (const button of root.querySelectorAll("[data-back]")) button.addEventListener("click", () => { want[button.dataset.back] = null; scales(); wish(); three(); (button.dataset.back === "offset" ? offset : spacing).focus(); });
  chosen?.addEventListener("change", () => { mark = read(chosen.selectedOptions[0].dataset, chosen.value); Object.assign(want, { offset: null, spacing: null }); scales(); wish(); three(); });

  showLost();
  scales();
  fit();
  first();
  new ResizeObserver(() => { fit(); settle(); }).observe(find(".stage"));
}
