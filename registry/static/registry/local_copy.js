/* What was typed without a network, kept on this device until it is kept in the registry: only fields that the server
   marks with `data-local`, by draft and person. Found again on opening the draft, it is offered in words. */
"use strict";
(() => {
  const form = document.getElementById("log");
  const offer = document.getElementById("local-copy");
  if (!form || !offer) return;
  const own = `ladderbook draft ${form.dataset.person} ${form.dataset.code}`;
  const week = 7 * 24 * 3600 * 1000;
  let typed = {}, waiting = {}, found = {};

  // A browser may refuse to store anything: then there is no copy, and the page says as before that it tries again.
  const stored = (name) => { try { return JSON.parse(localStorage.getItem(name)) || {}; } catch { return {}; } };
  const names = () => { try { return Object.keys(localStorage); } catch { return []; } };
  const forget = (name) => { try { localStorage.removeItem(name); } catch { /* nothing was stored */ } };
  const store = () => {
    const fields = { ...waiting, ...typed };
    if (!Object.keys(fields).length) { forget(own); return; }
    const now = { version: form.elements.version.value, at: Date.now() };
    const copy = { ...(Object.keys(typed).length ? now : found), fields };
    try { localStorage.setItem(own, JSON.stringify(copy)); } catch { /* no room, or not allowed */ }
  };

  const controls = (name) => [...form.querySelectorAll(`[name="${CSS.escape(name)}"][data-local]`)];
  const values = (name) => controls(name).filter((one) => one.type !== "checkbox" || one.checked).map((one) => one.value);
  const said = (control) => (control.tagName === "SELECT" ? control.selectedOptions[0]?.label : control.value) || "empty";
  const words = (name) => {
    const [first] = controls(name);
    if (first.type === "checkbox") {
      const chosen = controls(name).filter((one) => one.checked).map((one) => one.parentElement.textContent.trim());
      return chosen.join("; ") || "no longer chosen";
    }
    return `${first.labels[0]?.textContent.trim()}: ${said(first)}`;
  };

  form.addEventListener("input", (event) => {
    const name = event.target.name;
    if (!name || event.target.dataset.local === undefined) return;
    // A number and its "not known" clear each other, so both are noted.
    const both = [name.replace(/\?$/, ""), `${name.replace(/\?$/, "")}?`];
    for (const one of both.filter((name) => controls(name).length)) {
      typed[one] = { values: values(one), words: words(one) };
      delete waiting[one];
    }
    store();
  });
  form.addEventListener("kept", () => { typed = {}; store(); });
  const done = () => { typed = {}; waiting = {}; forget(own); };
  form.addEventListener("htmx:beforeOnLoad", (event) => { if (event.detail.xhr.getResponseHeader("HX-Redirect")) done(); });
  document.querySelector("form.discard")?.addEventListener("submit", done);

  const putBack = async () => {
    form.elements.turn.value = String(Number(form.elements.turn.value) + 1);
    const fields = new URLSearchParams(new FormData(form));
    for (const [name, one] of Object.entries(waiting)) {
      fields.append("has", name.replace(/\?$/, ""));
      fields.delete(name);
      for (const value of one.values) fields.append(name, value);
    }
    fields.set("do", "keep");
    const answer = await fetch(form.action, { method: "POST", body: fields });
    if (answer.status !== 200) throw new Error(String(answer.status));
    done();
    form.removeAttribute("data-unkept");
    location.reload();
  };
  const button = (word, act) => {
    const made = document.createElement("button");
    Object.assign(made, { type: "button", className: "btn-quiet", textContent: word });
    made.addEventListener("click", act);
    return made;
  };
  const line = (tag, sentence) => Object.assign(document.createElement(tag), { textContent: sentence });
  const offerThem = () => {
    const list = document.createElement("ul");
    list.append(...Object.values(waiting).filter((one) => one.words).map((one) => line("li", one.words)));
    const since = found.version === form.elements.version.value ? "" : " The draft has been changed since.";
    const trouble = line("p", "");
    const again = () => putBack().catch(() => { trouble.textContent = "They could not be put back now; they are still kept on this device."; });
    offer.replaceChildren(
      line("p", `Values typed without a network are kept on this device, and not in the registry.${since}`),
      list,
      button("Put them back", again), " ",
      button("Throw them away", () => { waiting = {}; store(); offer.replaceChildren(); offer.hidden = true; }),
      trouble,
    );
    offer.hidden = false;
  };

  for (const name of names()) {
    if (name.startsWith("ladderbook draft ") && !(Date.now() - stored(name).at < week)) forget(name);
  }
  const { fields: left = {}, ...head } = stored(own);
  found = head;
  for (const [name, one] of Object.entries(left)) {
    const here = controls(name).length && JSON.stringify(values(name)) === JSON.stringify(one.values);
    if (!here) waiting[name] = one;
  }
  store();
  if (Object.keys(waiting).length) offerThem();
})();
