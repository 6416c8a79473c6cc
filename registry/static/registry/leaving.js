/* Leaving the logging page at once: what is not kept is sent as the page goes, and the browser asks before it closes. */
"use strict";
(() => {
  const form = document.getElementById("log");
  if (!form) return;
  const unkept = () => form.hasAttribute("data-unkept");

  // A keep like any other. Where the page lives on, in the background, it takes the new version from the answer.
  const send = async () => {
    const turn = form.elements.turn;
    turn.value = String(Number(turn.value) + 1);
    const fields = new URLSearchParams(new FormData(form));
    const token = document.cookie.match(/(?:^|; )csrftoken=([^;]*)/)?.[1];
    fields.set("do", "keep");
    if (token) fields.set("csrfmiddlewaretoken", token);
    const answer = await fetch(form.action, { method: "POST", body: fields, keepalive: true, headers: { "HX-Request": "true" } });
    if (answer.status === 200 && answer.headers.get("HX-Retarget") === "#kept") {
      document.getElementById("kept").outerHTML = await answer.text();
    }
  };

  document.addEventListener("visibilitychange", () => {
    // Not sent: the page tries again by itself while it lives, and `beforeunload` asks.
    if (document.visibilityState === "hidden" && unkept()) send().catch(() => {});
  });
  window.addEventListener("beforeunload", (event) => { if (unkept()) event.preventDefault(); });
})();
