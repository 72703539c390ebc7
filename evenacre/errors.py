"""What is wrong with an input, where, and what to do about it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from evenacre.shown_text import shortened


@dataclass(frozen=True)
class Problem:
    """What is wrong with an input, in four parts a person can act on."""

    file: str  # the file (or option) it is about
    place: str  # Where in it: a line, a column, a key, a feature. May be empty.
    what: str  # what is wrong
    remedy: str  # what to do
    keys: tuple[str | int, ...] = ()  # The place as keys and numbers, for forms. May be empty.

    def __post_init__(self) -> None:
        # What stands in a file is repeated here: it may be of any length, and have lines.
        for part in ("file", "place", "what", "remedy"):
            object.__setattr__(self, part, shortened(getattr(self, part)))

    def __str__(self) -> str:
        where = f"{self.file}, {self.place}" if self.place else self.file
        return f"{where}: {self.what} {self.remedy}"


class InputError(Exception):
    """Bad input: carries every problem found, not only the first.

    Examples
    --------
    >>> try:
    ...     ev.audit("log.csv", width="20 lb")
    ... except ev.InputError as error:
    ...     print(error.problems[0].file, error.problems[0].remedy)
    width Write a length with its unit, such as "20 ft" or "20 m".
    """

    def __init__(self, problems: Problem | Iterable[Problem]) -> None:
        self.problems = (problems,) if isinstance(problems, Problem) else tuple(problems)
        super().__init__("\n".join(str(p) for p in self.problems))

    @classmethod
    def at(
        cls,
        file: object,
        place: str,
        what: str,
        remedy: str,
        keys: tuple[str | int, ...] = (),
    ) -> InputError:
        """Build the error for a single problem."""
        return cls(Problem(str(file), place, what, remedy, keys))

    def __reduce__(self) -> tuple[type[InputError], tuple[tuple[Problem, ...]]]:
        # Errors cross process borders under --jobs; the default would pass the joined text.
        return type(self), (self.problems,)


class ChangedElsewhereError(InputError):
    """A file is not as it was when the change to it was thought of."""


@contextmanager
def gathered(problems: list[Problem]) -> Iterator[None]:
    """Put the problems of bad input into a list, and go on after the block."""
    try:
        yield
    except InputError as error:
        problems += error.problems
