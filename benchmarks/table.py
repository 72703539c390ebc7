"""Figures of a benchmark as rows of a Markdown table, printed as they come."""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Sequence

MB = 1e6

Row = tuple[str, str]
"""What was measured, and the figure."""


def printed(rows: Iterable[Row]) -> None:
    """Print rows as a table, each as soon as it is measured."""
    print("| what | measured |\n|---|---|", flush=True)
    for what, figure in rows:
        print(f"| {what} | {figure} |", flush=True)
    print(flush=True)


def spread(values: Sequence[float], unit: str = "s", digits: int = 2) -> str:
    """Median of repeats, and the least and the most of them."""
    low, middle, high = min(values), statistics.median(values), max(values)
    return f"{middle:.{digits}f} {unit} ({low:.{digits}f} to {high:.{digits}f})"
