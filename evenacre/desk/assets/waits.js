"use strict";

/* The page that is waited for stands in the place of this one as soon as it can be had, but takes
   nobody back who is on the way to another. */
let leaving = false;
window.addEventListener("beforeunload", () => { leaving = true; });
fetch(document.getElementById("waits").dataset.asksFor)
  .catch(() => {})
  .then(() => leaving || location.reload());
