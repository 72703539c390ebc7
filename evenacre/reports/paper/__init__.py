"""What goes on paper: the whole report, and the sheets that are handed to others."""
