
/* Steps the map of a plan through its days. Texts are set as text, never as markup. */
const interseed = (() => {
  let section;
  let days;
  let names;
  let step = 0;

  const labels = () => [...section.querySelectorAll(".label-paddock")];

  /* Where whole labels lie on one another, only what matters on the day is written. */
  function write(short) {
    const day = days[step];
    for (const label of labels()) {
      const place = Number(/\bp(\d+)\b/.exec(label.className)[1]);
      const lines = [names[place], day.l[place]].filter(Boolean);
      label.textContent = short ? day.c[place] : lines.join("\n");
      label.hidden = label.textContent === "";
      label.dataset.state = day.s[place];
    }
  }

  function apart(box, other) {
    return box.right < other.left || box.left > other.right
      || box.bottom < other.top || box.top > other.bottom;
  }

  /* Labels that would lie on one shown already; those of the day come first. */
  function covered() {
    const shown = [];
    const urgent = (label) => (label.dataset.state === "seeding" ? 0 : 1);
    return labels().filter((label) => !label.hidden)
      .sort((a, b) => urgent(a) - urgent(b))
      .filter((label) => {
        const box = label.getBoundingClientRect();
        if (!shown.every((other) => apart(box, other))) return true;
        shown.push(box);
        return false;
      });
  }

  function relabel() {
    write(false);
    if (!covered().length) return;
    write(true);
    for (const label of covered()) label.hidden = true;
  }

  function draw() {
    const day = days[step];
    section.querySelector(".today b").textContent = `${day.t}.`;
    section.querySelector(".today span").textContent = day.p;
    const slider = section.querySelector(".stepper input");
    slider.value = step;
    slider.setAttribute("aria-valuetext", day.t);
    day.s.forEach((state, place) => {
      for (const shape of section.querySelectorAll(`.shape.p${place}`)) {
        shape.dataset.state = state;
      }
    });
    for (const sign of section.querySelectorAll("li[data-sign]")) {
      sign.hidden = !day.s.includes(sign.dataset.sign);
    }
    section.dataset.whole = step === 0;
    relabel();
  }

  function go(to) {
    step = Math.min(Math.max(to, 0), days.length - 1);
    draw();
  }

  function start(key) {
    const read = (part) => JSON.parse(document.getElementById(`${key}-${part}`).textContent);
    section = document.getElementById(key);
    days = read("days");
    names = read("names");
    section.querySelector(".stepper").hidden = false;
    section.querySelector(".stepper input").addEventListener("input", (event) => {
      go(Number(event.target.value));
    });
    section.addEventListener("click", (event) => {
      const button = event.target.closest("button[data-move], button[data-step]");
      if (!button) return;
      if (button.dataset.move) {
        go(step + Number(button.dataset.move));
        return;
      }
      go(Number(button.dataset.step));
      if (!button.closest(".stepper")) {
        section.querySelector(".stepper").scrollIntoView({ block: "start" });
      }
    });
    // A layer that is switched on again is made anew.
    section.addEventListener("change", draw);
    draw();
  }

  function ready({ map }) {
    map.on("zoomend", relabel);
    draw();
  }

  let screen = 0;
  window.addEventListener("beforeprint", () => {
    screen = step;
    go(0);
  });
  window.addEventListener("afterprint", () => go(screen));

  return { start, ready };
})();
