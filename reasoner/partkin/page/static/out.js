"use strict";
// Keeps the ticks in the address as they are made, so that a reload, a bookmark and the way back have them.
(() => {
  // What the page no longer needs where this runs is told by the style sheet; parts of the page may be renewed.
  document.documentElement.classList.add("scripted");

  function keep() {
    const form = document.getElementById("ticks");
    const boxes = [...form.querySelectorAll("input[name=done]")];
    const query = new URLSearchParams();
    for (const input of form.querySelectorAll("input[name=without]")) query.append("without", input.value);
    for (const box of boxes) if (box.checked) query.append("done", box.value);
    const text = query.toString();
    history.replaceState(null, "", text ? `?${text}` : location.pathname);
    const left = boxes.filter((box) => !box.checked).length;
    document.getElementById("left").textContent = `${left} of ${boxes.length} steps left`;
    const asking = document.getElementById("ask-stuck");
    for (const old of asking.querySelectorAll("input[name=done]")) old.remove();
    for (const box of boxes) {
      if (!box.checked) continue;
      const field = document.createElement("input");
      field.type = "hidden";
      field.name = "done";
      field.value = box.value;
      asking.append(field);
    }
  }

  document.addEventListener("change", (event) => {
    if (event.target.closest("#ticks")) keep();
  });
  document.addEventListener("submit", (event) => {
    if (event.target.id !== "ticks") return;
    event.preventDefault();
    keep();
  });
})();
