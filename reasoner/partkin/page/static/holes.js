"use strict";
// Puts away the fields that do not belong to the kind of hole, stud or clip that is chosen.
(() => {
  const form = document.getElementById("feature");
  const kinds = JSON.parse(form.dataset.kinds);
  function fit() {
    for (const [name, of] of Object.entries(kinds)) {
      form.querySelector(`.f-${name}`).hidden = !of.includes(form.elements.kind.value);
    }
  }
  form.elements.kind.addEventListener("change", fit);
  fit();
})();
