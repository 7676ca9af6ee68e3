// Beside the field for photographs: which were chosen, before they are sent.
const field = document.querySelector("#f-photographs");
const told = document.querySelector(".sending .chosen");
field?.addEventListener("change", () => {
  const names = [...field.files].map((file) => `${file.name}, ${(file.size / 1e6).toFixed(1)}\u00a0MB`);
  told.hidden = names.length < 2;
  told.textContent = names.join("; ");
});
