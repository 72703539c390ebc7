"""Interseeding grazed paddocks: moves, windows, days, schedule, loads, and what came of it."""
