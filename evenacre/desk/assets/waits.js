"use strict";

/* The page that is waited for stands in the place of this one as soon as it can be had. */
desk.answered(document.getElementById("waits").dataset.asksFor)
  .then(() => desk.isLeaving() || location.reload());
