"use strict";
// Shows how far the checks are, fetches a verdict when it is there, and sends the form for a reading without a reload.
(() => {
  const live = document.getElementById("live");
  const own = Number(live.dataset.number);
  const progress = document.getElementById("progress");
  const buttons = document.querySelectorAll("#checks button");
  const changed = document.getElementById("changed");
  const form = document.getElementById("reading");
  const said = document.getElementById("said");
  const ASKED = ["part", "quantity", "from", "to"];
  let number = own;
  let done = null;

  async function fetched(address, options) {
    const answer = await fetch(address, options);
    if (!answer.ok && answer.status !== 422) throw new Error(String(answer.status));
    return answer;
  }

  // Takes parts of this page as the server would now show it; what is being typed stays.
  async function refresh() {
    const text = await (await fetched(location.href)).text();
    const fresh = new DOMParser().parseFromString(text, "text/html");
    if (fresh.getElementById("faults")) location.reload();
    for (const old of document.querySelectorAll("#readings, [id^=told-]")) {
      const now = fresh.getElementById(old.id);
      if (!now) continue;
      // What was unfolded stays so.
      for (const fold of old.querySelectorAll("details[open]")) {
        const summary = fold.firstElementChild.textContent;
        for (const other of now.querySelectorAll("details")) {
          if (other.firstElementChild.textContent === summary) other.open = true;
        }
      }
      old.replaceWith(document.adoptNode(now));
    }
    number = Number(fresh.getElementById("live").dataset.number);
    const now = fresh.getElementById("reading");
    if (!form || !now) return;
    hear(fresh.getElementById("said"));
    renew(now.elements);
    keep();
  }

  // The answer stays in view of who types, however long what stands above it has become.
  function keep() {
    if (said.childNodes.length && form.contains(document.activeElement)) said.scrollIntoView({ block: "nearest" });
  }

  // What is said of the reading taken down last, once more of it is known.
  function hear(now) {
    if (!said.dataset.of || said.dataset.of !== now.dataset.of || said.innerHTML === now.innerHTML) return;
    said.replaceChildren(...now.childNodes);
  }

  // The form as it would now be given out: what is asked for. It stays while a value is being typed for it, where
  // somebody chose another pair, and where a reading is being corrected.
  function renew(fields) {
    if (form.dataset.chosen || form.elements.corrects.value || (form.elements.value.value && form.elements.from.value)) return;
    for (const name of ASKED) form.elements[name].value = fields[name].value;
    fit();
  }

  async function look() {
    const state = await (await fetched("/state")).json();
    progress.textContent = state.progress;
    for (const button of buttons) {
      button.hidden = !state.progress || (button.value === "stop") === state.held;
    }
    const busy = state.progress !== "" && !state.held;
    const more = done !== null && state.done.join(" ") !== done;
    done = state.done.join(" ");
    if (state.number !== number) {
      // Fields that somebody works in are left alone: the sheets are shown anew when asked for.
      if (document.querySelector("#marking, #lay")) changed.hidden = false;
      else if (document.getElementById("faults")) location.reload();
      else await refresh();
    } else if (document.querySelector("[data-waiting]") || (more && location.pathname === "/")) {
      await refresh();
    }
    return busy || Boolean(document.querySelector("[data-waiting]"));
  }

  async function watch() {
    let busy = false;
    try {
      busy = await look();
    } catch {
      progress.textContent = "The program behind this page does not answer. Was it ended?";
    }
    setTimeout(watch, busy ? 400 : 2000);
  }
  watch();

  const checks = document.getElementById("checks");
  checks.addEventListener("submit", async (event) => {
    event.preventDefault();
    const body = new URLSearchParams({ do: event.submitter ? event.submitter.value : "stop" });
    await fetched("/checks", { method: "POST", body });
    await look();
  });

  if (!form) return;
  const ENDS = JSON.parse(form.dataset.ends);
  const quantity = form.elements.quantity;

  function fit() {
    const ends = ENDS[quantity.value] ?? 2;
    form.querySelector(".f-from").hidden = ends < 1 && quantity.value !== "thickness";
    form.querySelector(".f-to").hidden = ends < 2;
    // What lies left or right of a line is seen, and has no value.
    for (const name of ["value", "unit", "plus_minus"]) form.querySelector(`.f-${name}`).hidden = ends > 2;
    form.elements.value.required = ends < 3;
    const [what, whose] = [quantity, form.elements.part].map((list) => list.selectedOptions[0].textContent);
    document.getElementById("what").textContent = what + (form.elements.part.length > 1 ? `, of ${whose}` : "");
  }
  quantity.addEventListener("change", fit);
  form.elements.part.addEventListener("change", fit);
  form.addEventListener("input", (event) => {
    if (ASKED.includes(event.target.name)) form.dataset.chosen = "yes";
  });
  fit();

  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    try {
      await take();
    } catch {
      said.textContent = "No answer came. Reload the page to see whether the reading was taken down.";
    }
  });

  async function take() {
    const began = performance.now();
    const headers = { accept: "application/json" };
    const answer = await fetched(form.action, { method: "POST", headers, body: new URLSearchParams(new FormData(form)) });
    const found = await answer.json();
    // The server escapes all that people wrote; the policy of this page lets no script run from here.
    const lines = new DOMParser().parseFromString(found.said, "text/html").body.childNodes;
    said.replaceChildren(...lines);
    said.dataset.ms = String(performance.now() - began);
    delete said.dataset.of;
    if (found.at) {
      // Nothing is asked for until it is known what is next: a value typed now must not go to the last pair.
      for (const box of form.elements) {
        if (box.name && !form.dataset.kept.split(" ").includes(box.name) && box.name !== "quantity") box.value = "";
      }
      form.elements.part.selectedIndex = 0;
      form.querySelector(".again")?.remove();
      delete form.dataset.chosen;
      said.dataset.of = found.of;
      history.replaceState(null, "", found.at);
      await refresh();
    }
    form.elements.value.focus({ preventScroll: true });
    keep();
  }
})();
