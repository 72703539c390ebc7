"""One module for each format of log."""
