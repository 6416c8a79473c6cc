/* A rung is moved by its grip: the same operation as its arrows, sent through one hidden button. */
"use strict";
(() => {
  const form = document.getElementById("log");
  if (!form) return;
  let grip = null;
  const rungs = (ladder) => [...ladder.querySelectorAll(":scope > [data-rung]")];
  const under = (y) => rungs(grip.closest("[data-ladder]")).filter((one) => one.getBoundingClientRect().top + one.offsetHeight / 2 < y);
  form.addEventListener("pointerdown", (event) => {
    grip = event.target.closest("[data-grip]");
    if (grip) grip.setPointerCapture(event.pointerId);
  });
  form.addEventListener("pointermove", (event) => {
    if (!grip) return;
    grip.closest("[data-rung]").classList.add("lifted");
    event.preventDefault();
  });
  form.addEventListener("pointercancel", () => { grip?.closest("[data-rung]").classList.remove("lifted"); grip = null; });
  form.addEventListener("pointerup", (event) => {
    if (!grip) return;
    const rung = grip.closest("[data-rung]");
    const moved = rung.classList.contains("lifted");
    rung.classList.remove("lifted");
    const above = under(event.clientY).filter((one) => one !== rung).length;
    const [place, key] = grip.dataset.grip.split(" ");
    grip = null;
    if (!moved) return;
    const button = document.getElementById("placing");
    button.value = `place rung ${place} ${key} ${above + 1}`;
    form.requestSubmit(button);
  });
})();
