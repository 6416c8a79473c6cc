/* Minutes one more or one less by a touch, beside the field in which they may be typed as well. */
"use strict";
(() => {
  const form = document.getElementById("log");
  if (!form) return;
  form.classList.add("scripted");
  form.addEventListener("click", (event) => {
    const button = event.target.closest("[data-step]");
    if (!button) return;
    const field = button.parentElement.querySelector("input");
    const now = Number(field.value.trim().replace(",", ".").replace("\u2212", "-"));
    if (Number.isNaN(now)) return;  // a `?`, or what cannot be read, is left to whoever typed it
    const lowest = field.dataset.lowest === undefined ? -Infinity : Number(field.dataset.lowest);
    const next = Math.max(lowest, now + Number(button.dataset.step));
    field.value = String(Number(next.toFixed(3)));
    field.dispatchEvent(new Event("input", { bubbles: true }));
    document.getElementById("said").textContent = `${field.value} minutes`;
  });
})();
