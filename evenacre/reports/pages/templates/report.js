
/* The page round the maps: folds, links, tables that sort, and what is done before it is printed. */
(() => {
  /* What lies in a fold is reached by links too. */
  function unfold(id) {
    const fold = id && document.getElementById(id)?.closest("details");
    if (fold) fold.open = true;
  }

  window.addEventListener("hashchange", () => unfold(location.hash.slice(1)));
  window.addEventListener("DOMContentLoaded", () => unfold(location.hash.slice(1)));

  document.addEventListener("click", (event) => {
    const button = event.target.closest("button[data-stop]");
    if (button) {
      unfold(button.dataset.job);
      evenacre.show(button.dataset.job, button.dataset.stop);
    }
    const link = event.target.closest('a[href^="#"]');
    if (link) unfold(link.hash.slice(1));
  });

  /* Rows go by what a head stands over, and the other way when it is asked again. */
  function sort(head) {
    const table = head.closest("table");
    const at = head.cellIndex;
    const down = head.getAttribute("aria-sort") === "ascending";
    for (const other of head.parentNode.cells) other.removeAttribute("aria-sort");
    head.setAttribute("aria-sort", down ? "descending" : "ascending");
    const rows = [...table.querySelectorAll("tr[data-sorts]")];
    const body = rows[0].parentNode;
    const sums = body.querySelector("tr:not([data-sorts])");
    const figures = rows.some((row) => row.cells[at].dataset.by);
    const words = new Intl.Collator(undefined, { numeric: true });
    const figure = (row) => Number(row.cells[at].dataset.by ?? -Number.MAX_VALUE);
    const word = (row) => row.cells[at].textContent;
    rows.sort((a, b) => (figures ? figure(a) - figure(b) : words.compare(word(a), word(b))));
    if (down) rows.reverse();
    for (const row of rows) body.insertBefore(row, sums);
  }

  window.addEventListener("DOMContentLoaded", () => {
    for (const table of document.querySelectorAll("table:has(thead)")) {
      if (table.querySelectorAll("tr[data-sorts]").length < 3) continue;
      for (const head of table.querySelectorAll("thead th")) {
        if (!head.textContent) continue;
        const button = document.createElement("button");
        button.textContent = head.textContent;
        button.type = "button";
        button.className = "sorts";
        button.addEventListener("click", () => sort(head));
        head.replaceChildren(button);
      }
    }
  });

  let folds = [];
  // What says that it is left folded stays so: it is for the screen and the files.
  const short = "details:not([open], #compare, :has(> summary > .left-folded))";

  window.addEventListener("beforeprint", () => {
    folds = [...document.querySelectorAll(short)];
    for (const fold of folds) fold.open = true;
    evenacre.onPaper();
  });

  // Whoever asked for it on paper gets the dialog at once.
  if (location.hash === "#print") window.addEventListener("load", () => window.print());

  window.addEventListener("afterprint", () => {
    for (const fold of folds) fold.open = false;
    evenacre.onScreen();
  });
})();
