"""What was worked out from files, kept by what it hangs on until the desk ends."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Any

_OF_A_KIND = 4
_MOST_SHAPES = 4_000


class Memory:
    """A few answers of each kind; whoever asks for one that is being made waits for it.

    Attributes
    ----------
    shapes : dict
        What was read of maps, as `evenacre.io.season.files.SeasonFiles` takes it.
    """

    def __init__(self) -> None:
        self.shapes: dict[Hashable, Any] = {}
        self._kept: dict[str, OrderedDict[Hashable, Any]] = {}
        self._making: dict[tuple[str, Hashable], Lock] = {}
        self._lock = Lock()

    def of(self, kind: str, key: Hashable, make: Callable[[], Any]) -> Any:
        """Give what is kept under a key, which says all that it hangs on; make it where it lacks.

        What is given is not to be changed.
        """
        with self._lock:
            kept = self._kept.setdefault(kind, OrderedDict())
            if key in kept:
                kept.move_to_end(key)
                return kept[key]
            making = self._making.setdefault((kind, key), Lock())
        with making:
            with self._lock:
                if key in kept:
                    return kept[key]
            try:
                value = make()
            finally:
                with self._lock:
                    self._making.pop((kind, key), None)
            with self._lock:
                kept[key] = value
                while len(kept) > _OF_A_KIND:
                    kept.popitem(last=False)
                if len(self.shapes) > _MOST_SHAPES:
                    self.shapes.clear()
            return value

    def forget(self, kind: str) -> None:
        """Make anew whatever is asked for of a kind."""
        with self._lock:
            self._kept.pop(kind, None)

    def __reduce__(self) -> tuple[type[Memory], tuple[()]]:
        """In another process it begins empty."""
        return Memory, ()
