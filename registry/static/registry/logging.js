/* The logging page with a script: which button was pressed, where the cursor goes, words typed while an answer is on
   its way, trying again without a network. Without it the same form works by whole pages. `data-unkept` stands on the
   form while something typed is not kept; `kept` is sent to it when all is. */
"use strict";
(() => {
  const form = document.getElementById("log");
  if (!form) return;
  const keeper = document.getElementById("keeper");
  const trouble = document.getElementById("trouble");
  const waits = [1, 2, 4, 8, 16, 30];
  let inFlight = 0, typed = 0, sentUpTo = 0, keptUpTo = 0, sentVersion = "", tries = 0, timer = 0, pressed = "", saved = false;
  const late = new Map();
  let lists = [];

  let spoken = "";
  const say = (sentence) => { trouble.textContent = spoken = sentence; };
  // What the registry itself said stays until it says something else.
  const fallSilent = () => { if (spoken && trouble.textContent === spoken) say(""); };
  const unkept = () => typed > keptUpTo;
  const mark = () => form.toggleAttribute("data-unkept", unkept());
  const toBeSent = () => { typed += 1; mark(); };
  const kept = (upTo) => {
    keptUpTo = upTo;
    mark();
    if (!unkept()) form.dispatchEvent(new CustomEvent("kept"));
  };
  const keepSoon = () => htmx.trigger(keeper, "keepnow");
  const cookie = (name) => document.cookie.split("; ").find((one) => one.startsWith(name + "="))?.slice(name.length + 1);

  // A press equal to the one on its way is a double click.
  form.addEventListener("submit", (event) => {
    const by = event.submitter;
    const words = by && by.name === "do" ? by.value : "keep";
    if (inFlight && words !== "keep" && words === pressed) { event.preventDefault(); event.stopImmediatePropagation(); return; }
    pressed = words;
  }, true);

  form.addEventListener("htmx:configRequest", (event) => {
    const sent = event.detail.parameters;
    if (event.detail.elt === form) {
      const by = event.detail.triggeringEvent?.submitter;
      sent.do = by?.name === "do" ? by.value : "keep";
    }
    sent.turn = form.elements.turn.value = String(Number(form.elements.turn.value) + 1);
    const token = cookie("csrftoken");
    if (token) sent.csrfmiddlewaretoken = token;
  });
  form.addEventListener("htmx:beforeRequest", (event) => {
    // A press has carried what the autosave waited with; once the case is saved there is no draft to keep.
    if (saved || (event.detail.elt === keeper && !unkept())) { event.preventDefault(); return; }
    inFlight += 1;
    sentUpTo = typed;
    sentVersion = form.elements.version.value;
    late.clear();
  });
  form.addEventListener("htmx:beforeOnLoad", (event) => {
    saved = Boolean(event.detail.xhr.getResponseHeader("HX-Redirect"));
    if (event.detail.xhr.status < 300) kept(saved ? typed : sentUpTo);
  });
  form.addEventListener("htmx:afterRequest", (event) => {
    inFlight = Math.max(0, inFlight - 1);
    if (!inFlight) pressed = "";
    // What is refused is so after the fields were kept, and then the version is a new one.
    if (event.detail.xhr.status === 422 && form.elements.version.value !== sentVersion) kept(sentUpTo);
  });

  form.addEventListener("input", (event) => {
    toBeSent();
    const field = event.target;
    if (inFlight && field.name) late.set(field.name, field.type === "checkbox" ? field.checked : field.value);
    // A number and its "not known" clear each other.
    if (field.type === "checkbox" && field.checked && field.name.endsWith("?")) {
      const beside = form.elements[field.name.slice(0, -1)];
      if (beside && "value" in beside) beside.value = "";
    } else if (field.value) {
      const box = form.elements[field.name + "?"];
      if (box && box.type === "checkbox") box.checked = false;
    }
  });
  form.addEventListener("change", (event) => {
    const list = event.target;
    if (list.tagName !== "SELECT" || !list.dataset.press || !list.value) return;
    const button = list.parentElement.querySelector("button[name=do]");
    if (button) form.requestSubmit(button);
  });

  // Signed out, or an old token: the page stays, what became of it is said, and it goes on by itself.
  document.body.addEventListener("htmx:beforeSwap", (event) => {
    const status = event.detail.xhr.status;
    // A list of names that was opened stays so, for there may be several to choose.
    lists = [...form.querySelectorAll("details[open] > summary[id]")].map((one) => one.id);
    if (status === 401 || status === 403) {
      event.detail.shouldSwap = false;
      toBeSent();
      say(status === 401
        ? "You have been signed out. Nothing here is lost: sign in again in another tab, then come back to this one."
        : "Your sign-in has changed. Nothing here is lost: it is sent again when you come back to this page.");
    } else if (status < 400) {
      tries = 0;
      fallSilent();
    }
  });
  document.body.addEventListener("htmx:afterSwap", (event) => {
    if (event.detail.target.id !== "editor") return;
    const editor = document.getElementById("editor");
    for (const id of lists) document.getElementById(id)?.parentElement.setAttribute("open", "");
    for (const [name, value] of late) {
      const field = form.elements[name];
      if (!field || !("value" in field)) continue;
      if (field.type === "checkbox") field.checked = value; else field.value = value;
    }
    if (late.size) { late.clear(); toBeSent(); keepSoon(); return; }
    const name = editor.dataset.focus;
    const place = name && editor.querySelector(`[data-name="${CSS.escape(name)}"]`);
    if (!place) return;
    for (let lid = place.closest("details:not([open])"); lid; lid = lid.parentElement.closest("details:not([open])")) lid.open = true;
    place.focus({ preventScroll: true, focusVisible: true });
    place.scrollIntoView({ block: "nearest" });
  });

  const again = (sentence) => {
    toBeSent();
    say(sentence);
    clearTimeout(timer);
    timer = setTimeout(keepSoon, 1000 * waits[Math.min(tries, waits.length - 1)]);
    tries += 1;
  };
  form.addEventListener("htmx:sendError", () => again("No connection. What you typed stays here and is sent again by itself; a press is to be repeated."));
  form.addEventListener("htmx:responseError", (event) => event.detail.xhr.status === 404
    ? say("This draft is gone: it was saved or discarded on another page.")
    : again("The registry did not answer as it should. What you typed stays here and is sent again by itself; a press is to be repeated."));
  const back = () => { if (unkept()) keepSoon(); };
  window.addEventListener("online", back);
  window.addEventListener("focus", back);
  // A whole page that is left on purpose, by saving or discarding, has nothing to ask.
  document.addEventListener("click", (event) => { if (event.target.closest("[data-leaves]")) kept(typed); });
  document.addEventListener("click", (event) => {
    const segment = event.target.closest("[data-segment]");
    if (!segment) return;
    const map = segment.closest("[data-map]");
    const button = map && form.querySelector(`button[value="segment ${CSS.escape(map.dataset.map)} ${CSS.escape(segment.dataset.segment)}"]`);
    if (button) form.requestSubmit(button);
  });
})();
