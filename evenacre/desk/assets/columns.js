"use strict";

/* Only units of what a column is are offered. */
(() => {
  for (const role of document.querySelectorAll("select[data-unit]")) {
    const unit = document.getElementById(role.dataset.unit);
    const fit = () => {
      const of = role.selectedOptions[0].dataset.of;
      unit.hidden = !of;
      for (const group of unit.querySelectorAll("optgroup")) {
        group.hidden = group.disabled = group.label !== of;
      }
      if (unit.selectedOptions[0]?.parentElement.disabled) unit.value = "";
    };
    role.addEventListener("change", fit);
    fit();
  }
})();
