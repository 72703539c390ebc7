"use strict";

/* The drill drawn while it is typed; what the logs tell is put into its boxes. */
(() => {
  const at = (id) => document.getElementById(id);
  const form = document.querySelector(".table-form");
  const rig = at("rig");
  const words = at("rig-words");

  /* Parts of pages come from the desk itself, written like its pages. */
  async function take(place, address, options) {
    const answer = await fetch(address, options).catch(() => null);
    const text = answer?.ok && (await answer.text().catch(() => null));
    if (!text) return false;
    const part = new DOMParser().parseFromString(text, "text/html");
    place.replaceChildren(...part.body.childNodes);
    return true;
  }

  // The drawing

  let asked = 0;
  let waiting = 0;
  async function draw() {
    const mine = ++asked;
    waiting = 0;
    const open = words.querySelector("details").open;
    const high = matchMedia("(max-width: 52rem)").matches ? innerHeight * 0.4 : innerHeight - 330;
    const size = `wide=${Math.floor(rig.clientWidth)}&high=${Math.max(0, Math.floor(high))}`;
    const body = new URLSearchParams(new FormData(form));
    const fresh = document.createElement("div");
    if (!(await take(fresh, `${rig.dataset.draw}?${size}`, { method: "POST", body }))) return;
    if (mine !== asked) return;
    const [picture, saying] = fresh.children;
    rig.replaceChildren(picture);
    words.replaceChildren(...saying.childNodes);
    words.querySelector("details").open = open;
    light(document.activeElement?.name);
    if (!waiting) rig.dataset.drawn = String(mine); // nothing is to come any more
  }

  function soon() {
    delete rig.dataset.drawn;
    clearTimeout(waiting);
    waiting = setTimeout(draw, 150);
  }

  function light(name) {
    for (const one of document.querySelectorAll(".lit")) one.classList.remove("lit");
    if (!name) return;
    for (const one of document.querySelectorAll(".drawing [data-box]")) {
      one.classList.toggle("lit", one.dataset.box === name);
    }
    form.elements[name]?.closest(".box")?.classList.add("lit");
  }

  /* A box of what is folded up is shown before anybody is led to it. */
  function reveal(box) {
    for (let fold = box.closest("details"); fold; fold = fold.parentElement.closest("details")) {
      fold.open = true;
    }
  }

  form.addEventListener("input", soon);
  form.addEventListener("focusin", (event) => light(event.target.name));
  form.addEventListener("focusout", () => light(""));
  const boxAt = (event) => event.target.closest("[data-box]")?.dataset.box;
  for (const place of [rig, words]) {
    place.addEventListener("pointerover", (event) => { if (boxAt(event)) light(boxAt(event)); });
    place.addEventListener("pointerout", () => light(document.activeElement?.name));
    place.addEventListener("focusin", (event) => light(boxAt(event)));
    place.addEventListener("click", (event) => {
      const box = form.elements[boxAt(event)];
      if (!box) return;
      event.preventDefault();
      reveal(box);
      box.focus();
    });
  }
  addEventListener("resize", soon);
  rig.closest("details").addEventListener("toggle", soon);
  draw();

  // What the logs tell

  const told = at("told");
  if (!told) return;
  told.addEventListener("click", (event) => {
    const button = event.target.closest("[data-boxes]");
    if (!button) return;
    const boxes = Object.entries(JSON.parse(button.dataset.boxes));
    const filled = boxes.filter(([name]) => form.elements[name]);
    for (const [name, text] of filled) {
      form.elements[name].value = text;
      reveal(form.elements[name]);
    }
    if (!filled.length) return;
    const first = form.elements[filled[0][0]];
    first.dispatchEvent(new Event("change", { bubbles: true }));
    first.focus();
    at("ask-stage").textContent = "It stands in the form now. Look at it, and keep it.";
    soon();
  });
  at("ask").addEventListener("submit", async (event) => {
    event.preventDefault();
    const stage = at("ask-stage");
    const button = event.target.querySelector("button");
    button.disabled = true;
    stage.textContent = "Asking the logs …";
    const answer = await fetch(event.target.action, { method: "POST", redirect: "manual" }).catch(() => null);
    if (answer?.type !== "opaqueredirect") { // the desk leads back here once it has begun
      button.disabled = false;
      stage.textContent = answer ? "The season was changed meanwhile. Load this page anew." : desk.SILENT;
      return;
    }
    let begun = false;
    const end = desk.watched(async (job) => {
      if (!job.title.startsWith("Asking the logs")) return;
      begun ||= job.state === "running";
      if (job.state === "running") {
        stage.textContent = job.stage + (job.total ? ` (${job.done} of ${job.total} done)` : "");
      } else if (begun || job.state !== "none") {
        end();
        button.disabled = false;
        stage.textContent = job.state === "done" ? "They have answered." : job.told.join(" ");
        await take(told, told.dataset.told);
      }
    }, (isClosed) => {
      stage.textContent = desk.SILENT;
      if (isClosed) button.disabled = false;
    });
  });
})();
