
/* Steps the map of a plan through its days. Texts are set as text, never as markup. */
const interseed = (() => {
  let section;
  let days;
  let names;
  let step = 0;
  let map;

  /* Of labels that would lie on one another the first shows; those of the day come first. */
  function declutter() {
    const shown = [];
    const labels = [...section.querySelectorAll(".label-paddock")];
    const urgent = (label) => (label.dataset.state === "seeding" ? 0 : 1);
    labels.sort((a, b) => urgent(a) - urgent(b));
    for (const label of labels) {
      label.style.visibility = "";
      const box = label.getBoundingClientRect();
      const apart = (other) => box.right < other.left || box.left > other.right
        || box.bottom < other.top || box.top > other.bottom;
      if (shown.every(apart)) shown.push(box);
      else label.style.visibility = "hidden";
    }
  }

  function draw() {
    const day = days[step];
    section.querySelector(".today b").textContent = `${day.t}.`;
    section.querySelector(".today span").textContent = day.p;
    const slider = section.querySelector(".stepper input");
    slider.value = step;
    slider.setAttribute("aria-valuetext", day.t);
    day.s.forEach((state, place) => {
      for (const shape of section.querySelectorAll(`.shape.p${place}, .label-paddock.p${place}`)) {
        shape.dataset.state = state;
      }
      for (const label of section.querySelectorAll(`.label-paddock.p${place}`)) {
        label.textContent = day.l[place] ? `${names[place]}\n${day.l[place]}` : names[place];
      }
    });
    for (const sign of section.querySelectorAll("li[data-sign]")) {
      sign.hidden = !day.s.includes(sign.dataset.sign);
    }
    section.dataset.whole = step === 0;
    declutter();
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

  function ready(made) {
    map = made;
    map.on("zoomend", declutter);
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
