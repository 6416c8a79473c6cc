/* Signing out takes with it whatever the logging page kept on this device. */
"use strict";
document.addEventListener("submit", (event) => {
  if (!event.target.matches("[data-signs-out]")) return;
  try {
    for (const name of Object.keys(localStorage)) if (name.startsWith("ladderbook draft ")) localStorage.removeItem(name);
  } catch { /* a browser that stores nothing has nothing to forget */ }
});
