// A stopwatch beside each field of a time: press when the head sets off, press again when it rests.
for (const input of document.querySelectorAll('.takes input[name^="time-"]')) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "watch";
  button.setAttribute("aria-pressed", "false");
  const name = input.labels[0]?.textContent.trim() ?? "";
  let begun = null;
  const say = (text) => {
    button.textContent = text;
    button.setAttribute("aria-label", `${text}, stopwatch of ${name}`);
  };
  say("Start");
  const tick = () => {
    if (begun === null) return;
    button.textContent = `Stop ${((performance.now() - begun) / 1000).toFixed(1)} s`;
    requestAnimationFrame(tick);
  };
  // on the press itself, not on the release: a hand is early enough
  const press = () => {
    if (begun === null) {
      begun = performance.now();
      button.setAttribute("aria-pressed", "true");
      button.setAttribute("aria-label", `Stop, stopwatch of ${name}`);
      tick();
      return;
    }
    input.value = ((performance.now() - begun) / 1000).toFixed(2);
    begun = null;
    button.setAttribute("aria-pressed", "false");
    say("Start again");
  };
  button.addEventListener("pointerdown", (event) => { if (event.button === 0) press(); });
  button.addEventListener("keydown", (event) => {
    if ((event.key === " " || event.key === "Enter") && !event.repeat) { event.preventDefault(); press(); }
  });
  button.addEventListener("keyup", (event) => { if (event.key === " ") event.preventDefault(); });
  button.addEventListener("click", (event) => { if (event.detail === 0 && event.pointerType === "") event.preventDefault(); });
  input.closest(".field").append(button);
}
