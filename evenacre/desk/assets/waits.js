"use strict";

/* The page that is waited for stands in the place of this one as soon as it can be had. */
fetch(document.getElementById("waits").dataset.asksFor)
  .catch(() => {})
  .then(() => location.reload());
