"""ISO 11783-10 task data, read and written."""
