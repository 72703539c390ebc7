"""The desk: every job from a page in the browser, served on the farm's own machine."""
