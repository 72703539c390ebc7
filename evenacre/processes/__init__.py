"""Worker processes, interruption, and what a stopped run has written."""
