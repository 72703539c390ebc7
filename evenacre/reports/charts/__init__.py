"""Charts as inline SVG, all of one hand."""
