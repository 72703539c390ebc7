"use strict";

/* Rows come and go; what is to be looked at, and what they come to, is told while they are typed. */
(() => {
  const at = (id) => document.getElementById(id);
  const rows = at("rows");
  const form = rows.closest("form");
  const all = () => [...rows.querySelectorAll("[data-row]")];
  const boxes = (row) => [...row.querySelectorAll("input:not([type=hidden]), select")];

  function numbered() {
    all().forEach((row, n) => { row.querySelector(".number").textContent = n + 1; });
    at("row-repeat").disabled = !all().length;
  }

  function typed() {
    form.dispatchEvent(new Event("change"));
  }

  /* A new row, with what stands in another. */
  function added(like) {
    const number = rows.dataset.next++;
    const holder = document.createElement("div");
    holder.append(at("row-new").content.cloneNode(true));
    for (const part of holder.querySelectorAll("*")) {
      for (const { name, value } of [...part.attributes]) {
        if (value.includes("rNEW")) part.setAttribute(name, value.replaceAll("rNEW", `r${number}`));
      }
    }
    const row = holder.firstElementChild;
    if (like) {
      const held = boxes(like);
      boxes(row).forEach((box, n) => {
        const text = held[n].value;
        if (box.tagName === "SELECT" && ![...box.options].some((one) => one.value === text)) {
          box.add(new Option(text, text));
        }
        box.value = text;
      });
    }
    rows.append(row);
    row.querySelector(".acts").hidden = false;
    numbered();
    boxes(row)[0].focus();
    if (like) typed();
  }

  rows.addEventListener("click", (event) => {
    const asked = event.target.closest("[data-do]");
    if (!asked) return;
    const row = asked.closest("[data-row]");
    if (asked.dataset.do === "repeat") {
      added(row);
      return;
    }
    const next = row.nextElementSibling || row.previousElementSibling;
    at("row-said").textContent = `Row ${row.querySelector(".number").textContent} was taken out.`;
    row.remove();
    numbered();
    (next ? boxes(next)[0] : at("row-add")).focus();
    typed();
  });
  at("row-add").addEventListener("click", () => added(null));
  at("row-repeat").addEventListener("click", () => added(all().at(-1)));

  form.addEventListener("told", ({ detail }) => {
    for (const line of form.querySelectorAll(".look")) line.textContent = detail[line.id] || "";
    const said = [...detail.others, ...detail.told];
    at("row-told").replaceChildren(...said.map((text) => {
      const line = document.createElement("li");
      line.textContent = text;
      return line;
    }));
  });

  at("row-acts").hidden = false;
  for (const row of all()) row.querySelector(".acts").hidden = false;
  numbered();
})();
