// Small help beside pages that work without it. Nothing here computes: what is shown comes from the server.
document.documentElement.dataset.script = "on";

// a remark closes again by Escape
document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && document.activeElement?.matches("button.remark")) document.activeElement.blur();
});

// a form that was sent once is not sent twice
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "post" || event.defaultPrevented) return;
  if (form.dataset.sent) event.preventDefault();
  form.dataset.sent = "yes";
});
window.addEventListener("pageshow", () => {
  for (const form of document.forms) delete form.dataset.sent;
});

// a sheet that was waited for is opened once; who comes back to the page is not sent on again (programs wait for a person)
if (performance.getEntriesByType("navigation")[0]?.type === "navigate") document.querySelector("[data-hand-over]")?.click();
