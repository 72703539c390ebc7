"""Passes to come: heading, headland rounds, passes between them, turns and time."""
