"""Classes of a product's rate about its target: their colours, hatches and words."""

from __future__ import annotations

from dataclasses import dataclass

from evenacre.language import number, tr
from evenacre.model.audit_result import RATE_SHARES, ProductResult
from evenacre.reports import figure_text
from evenacre.units.display import UnitSystem


@dataclass(frozen=True)
class RateClass:
    """How ground of a class is drawn; a hatch says on paper and on screen what a colour may not."""

    colour: str
    ink: str  # of the hatch
    hatch: str  # on paper
    strokes: str  # on screen: path in a square of 8 pixels


# From far under to far over: brown through pale green to blue.
RATE_CLASSES = (
    RateClass("#8c510a", "#ffffff", "xxx", "M0 0L8 8M8 0L0 8"),
    RateClass("#dfb66b", "#5c3a06", "\\\\\\", "M0 0L8 8M-1 7L1 9M7 -1L9 1"),
    RateClass("#cfe3d2", "#cfe3d2", "", ""),
    RateClass("#74b3c4", "#0b3f56", "///", "M8 0L0 8M-1 1L1 -1M7 9L9 7"),
    RateClass("#0b4f6c", "#ffffff", "...", "M2 2h1.6v1.6h-1.6zM6 6h1.6v1.6h-1.6z"),
)


def rate_words(product: ProductResult, units: UnitSystem) -> list[str]:
    """Name of each class, in the reader's units."""
    word = tr("target") if product.target_kg_per_m2 else tr("mean")
    digits = 4 if product.target_kg_per_m2 else 3
    edges = (units.rate.of(product.middle_kg_per_m2 * share) for share in RATE_SHARES)
    low, under, over, high = (number(float(f"{e:.{digits}g}"), ",.9g") for e in edges)
    return [
        tr("under {low} {label} (less than half)", low=low, label=units.rate.word),
        figure_text.span(low, under),
        tr("{under} to {over} (within 10 % of {word})", under=under, over=over, word=word),
        figure_text.span(over, high),
        tr("over {high} (half as much again)", high=high),
    ]
