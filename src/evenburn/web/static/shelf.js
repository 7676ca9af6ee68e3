// Only the sizes that a shape has are shown; without this all are, and those it does not have are left alone.
const shapes = document.querySelector("[data-shapes]");
const choice = shapes?.querySelector('select[name="shape"]');
const fit = () => {
  for (const part of shapes.querySelectorAll("[data-for]")) {
    part.classList.toggle("beside", !part.dataset.for.split(" ").includes(choice.value));
  }
};
if (choice) {
  choice.addEventListener("change", fit);
  fit();
}
