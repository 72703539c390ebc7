
/* Two maps of the same ground: what is done to one is done to the other. */
evenacre.pair = (() => {
  let pages = [];
  let moving = false;

  function follow(from, to) {
    from.on("move", () => {
      if (moving) return;
      moving = true;
      to.setView(from.getCenter(), from.getZoom(), { animate: false });
      moving = false;
    });
  }

  function ready(page) {
    pages.push(page);
    if (pages.length < 2) return;
    const [one, other] = pages.map(({ map }) => map);
    follow(one, other);
    follow(other, one);
    other.setView(one.getCenter(), one.getZoom(), { animate: false });
  }

  document.addEventListener("change", (event) => {
    const { layer, view } = event.target.dataset;
    if (!(layer || view) || !event.target.closest(".pair")) return;
    const alike = layer ? `input[data-layer="${layer}"]` : `input[data-view="${view}"]`;
    for (const tick of document.querySelectorAll(`.pair ${alike}`)) {
      if (tick.checked !== event.target.checked) tick.click();
    }
  });

  /* A map of a job once more, in the frame of both. */
  function copied(key, section) {
    const row = document.querySelector(`#${key} .map-row`).cloneNode(true);
    row.className = "";
    for (const part of row.querySelectorAll("script, noscript, .replay")) part.remove();
    const fresh = row.querySelector(".map").cloneNode(false);
    fresh.className = "map";
    fresh.removeAttribute("style");
    row.querySelector(".map").replaceWith(fresh);
    for (const radio of row.querySelectorAll("input[type=radio]")) radio.name = `${section.id}-view`;
    section.replaceChildren(...row.childNodes);
    return new evenacre.PageMap(key, section);
  }

  function choose(part) {
    const [one, other] = part.querySelectorAll("select");
    const { field } = one.selectedOptions[0].dataset;
    for (const option of other.options) {
      option.hidden = option.dataset.field !== field || option.value === one.value;
      option.disabled = option.hidden;
    }
    if (other.selectedOptions[0].disabled) {
      other.value = [...other.options].find((option) => !option.disabled).value;
    }
    for (const { map } of pages) map.remove();
    pages = [];
    const sides = part.querySelectorAll(".pair section");
    const made = [one, other].map((choice, i) => copied(choice.value, sides[i]));
    const box = L.latLngBounds(made[0].box.getSouthWest(), made[0].box.getNorthEast())
      .extend(made[1].box);
    for (const page of made) {
      page.box = box;
      page.map.setMaxBounds(box.pad(2));
      page.whole();
      ready(page);
    }
  }

  window.addEventListener("DOMContentLoaded", () => {
    const part = document.getElementById("compare");
    if (!part) return;
    part.addEventListener("toggle", () => {
      if (part.open && !pages.length) choose(part);
    });
    for (const choice of part.querySelectorAll("select")) {
      choice.addEventListener("change", () => choose(part));
    }
  });

  return { ready };
})();
