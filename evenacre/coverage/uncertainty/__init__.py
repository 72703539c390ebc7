"""How far areas, masses and places may be off, and why."""
