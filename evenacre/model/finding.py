"""What an audit or a plan came upon, by code; `reports/sentences/findings.py` has the words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, Literal

from evenacre.errors import InputError, Problem

Severity = Literal["warning", "note"]


@dataclass(frozen=True)
class Finding:
    """Something that whoever reads the result has to know.

    Examples
    --------
    >>> (result,) = ev.audit("season.toml").operations
    >>> {finding.severity for finding in result.findings}
    {'note'}
    """

    code: str  # one of those listed in ``docs/reference/findings.md``
    # ``"warning"``: it looked wrong and was used all the same; ``"note"``: how it was worked out
    severity: Severity
    # The figures and names it tells of, SI: numbers, text and tuples of them. With ``place`` the
    # words begin with what it is about: a file, a field, an operation.
    values: Mapping[str, Any] = field(default_factory=dict, hash=False)

    @classmethod
    def warning(cls, code: str, **values: Any) -> Finding:
        """Warn of something suspicious that was used all the same."""
        return cls(code, "warning", values)

    @classmethod
    def note(cls, code: str, **values: Any) -> Finding:
        """Note how something was worked out."""
        return cls(code, "note", values)

    def at(self, place: str | tuple[str, ...]) -> Finding:
        """Say what it is about; several names where it is of all of them together."""
        return replace(self, values={**self.values, "place": place})


def said_once(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Take findings that differ by their ``records`` alone for one, of all these records."""
    records: dict[Finding, int] = {}
    for finding in findings:
        values = dict(finding.values)
        count = values.pop("records", 0)
        alike = replace(finding, values=values)
        records[alike] = records.get(alike, 0) + count
    return tuple(
        replace(alike, values={**alike.values, "records": count}) if count else alike
        for alike, count in records.items()
    )


def reader_findings(warnings: Iterable[str] = (), notes: Iterable[str] = ()) -> list[Finding]:
    """Pass on what the readers of files said already in words, with the places in them."""
    said = [Finding.warning("said_by_reader", text=text) for text in warnings]
    return said + [Finding.note("said_by_reader", text=text) for text in notes]


class FindingError(InputError):
    """An input that cannot be worked with, by code and values as of a :class:`Finding`."""

    def __init__(self, code: str, file: str, place: str = "", **values: Any) -> None:
        self.code, self.file, self.place, self.values = code, file, place, values
        super().__init__(Problem(file, place, code, str(values or "")))

    def __reduce__(self) -> tuple[Any, ...]:
        """How it comes whole out of a worker process."""
        return partial(type(self), **self.values), (self.code, self.file, self.place)
