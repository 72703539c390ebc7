"""Colours shared by the printed and the interactive maps.

They differ in lightness as well as in hue, and every one goes with a hatch, an outline or a
number, so that a map still reads in grey or by a colour-blind eye.
"""

from __future__ import annotations

ONCE = "#cfe3d2"
TWICE = "#e9a23b"
MORE = "#6d2e8c"
SKIP = "#c4122f"
OUTSIDE = "#4a5a6a"
NOTHING = "#b3afa8"
UNWORKABLE = "#d8d4cc"
HEADLAND = "#1d4e89"
BOUNDARY = "#1a1a1a"
PASS = "#2b5d7d"
ZONE = "#5b3a1e"
SETBACK = "#006d8f"

# Shares of the target rate, from far under to far over: brown through pale to blue.
RATE_EDGES = (0.5, 0.9, 1.1, 1.5)
RATE_COLOURS = ("#8c510a", "#dfb66b", "#f2efe4", "#74b3c4", "#0b4f6c")
RATE_HATCHES = ("xxx", "\\\\\\", "", "///", "...")
