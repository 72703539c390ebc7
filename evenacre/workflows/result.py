"""What every finished job can do: tell its answer and its figures, and write its folder."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from markupsafe import Markup

from evenacre.io.result_folder.ownership import SUMMARY
from evenacre.language import Language, now_spoken, spoken
from evenacre.processes.written import Written
from evenacre.workflows.called import about_arguments
from evenacre.workflows.figures import figures_of

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Outcome:
    """A finished job, as the command line tells it.

    Attributes
    ----------
    summary : dict
        As in the JSON file of the result.
    lines : tuple of str
        The answer in plain words, for a terminal.
    remarks : tuple of str
        About the run rather than the ground; no part of the result.
    """

    summary: dict[str, Any]
    lines: tuple[str, ...]
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, repr=False)
class Result(ABC):
    """A finished job: its answer in words and its figures.

    Attributes
    ----------
    language : Language
        In which it is told: that which was spoken when the job was done.
    """

    language: Language = field(default_factory=now_spoken, kw_only=True)

    @abstractmethod
    def _lines(self) -> tuple[str, ...]: ...

    @abstractmethod
    def _summary(self) -> dict[str, Any]: ...

    @cached_property
    def lines(self) -> tuple[str, ...]:
        """The answer in plain words, as the command line prints it."""
        with spoken(self.language):
            return self._lines()

    @property
    def headline(self) -> str:
        """The first thing to be told of the answer."""
        with spoken(self.language):
            return self._headline()

    @cached_property
    def summary(self) -> dict[str, Any]:
        """Every figure in SI units as JSON types, as in the folder's JSON file."""
        with spoken(self.language):
            return self._summary()

    @cached_property
    def figures(self) -> pd.DataFrame:
        """Every figure, one a row, in SI units.

        Columns are ``field``, ``operation``, ``subject`` (a product, a zone, a skip ...),
        ``name``, ``value``, ``unit`` and, in the same unit, ``uncertainty`` (standard),
        ``expected`` and the 90 % interval ``low_90`` to ``high_90``; NaN where none is known.
        """
        return figures_of(self.summary)

    def _headline(self) -> str:
        return self.lines[0]

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {self.headline}>"

    def _repr_html_(self) -> str:
        titled = any(line.startswith(" ") for line in self.lines)
        shown = (
            Markup("<strong>{}</strong>" if titled and line[:1].strip() else "{}").format(line)
            for line in self.lines
        )
        return f"<p>{'<br>'.join(shown)}</p>"


class FolderResult(Result):
    """A finished job that fills a folder."""

    account: ClassVar[str] = SUMMARY
    """Name of the JSON file in its folder."""
    kind: ClassVar[str] = ""
    """Of the result, where several share the name of that file."""
    remarks: tuple[str, ...] = ()
    """About the run rather than the ground."""

    @abstractmethod
    def _fill(self, stage: Path) -> dict[str, Any]:
        """Write every file into an empty folder, and give the account as it was written."""

    def write(self, folder: str | Path) -> Path:
        """Write the result folder, whole or not at all, as the command line does.

        Parameters
        ----------
        folder : str or Path
            An earlier result there is replaced; files of it that were changed since are kept
            in a folder beside it.

        Returns
        -------
        Path
            The folder.

        Raises
        ------
        InputError
            When the folder holds anything Evenacre did not write, or cannot be written.
        """
        with about_arguments():
            write_result(type(self), Path(folder), lambda: self)
        return Path(folder)


def write_result(
    made: type[FolderResult],
    out: Path,
    job: Callable[[], FolderResult],
    *,
    written: Written | None = None,
) -> Outcome:
    """Do a job between the opening and the closing of its folder, which is whole or not there.

    A folder that may not be replaced is found before the work, not after it.

    Parameters
    ----------
    made : type
        Of what the job makes.
    out : Path
    job : callable
    written : Written, optional
        Told what was written, and of files that were kept.

    Raises
    ------
    InputError
        When the folder holds anything Evenacre did not write, or cannot be written; and
        whatever the job raises.
    """
    return write_as_it_comes(made, out, lambda _stage: job(), written=written)


def write_as_it_comes(
    made: type[FolderResult],
    out: Path,
    job: Callable[[Path], FolderResult],
    *,
    written: Written | None = None,
) -> Outcome:
    """Do as `write_result` does; the job is told the folder, to lay down what it need not keep."""
    from evenacre.io.result_folder.staging import staged_folder  # answers alone need no folder

    with staged_folder(out, made.account, kind=made.kind, written=written) as stage:
        result = job(stage)
        with spoken(result.language):
            summary = result._fill(stage)
    return Outcome(summary, result.lines, result.remarks)
