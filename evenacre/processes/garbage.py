"""How often the process looks for garbage."""

from __future__ import annotations

import gc

_NEW_OBJECTS, _ROUNDS = 50_000, 20


def collect_seldom() -> None:
    """Look for rings of garbage after every 50,000 new objects instead of 700.

    A job makes few rings and many objects that stay, each of which every search looks at again:
    a twentieth of its time. What no ring holds is freed at once as ever.
    """
    gc.set_threshold(_NEW_OBJECTS, _ROUNDS, _ROUNDS)
