"""One module for each format of result."""
