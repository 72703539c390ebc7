"""What the farm put down: fertilizer, seed and a blend. All of it is invented."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Material:
    """A product as the season file names it.

    Attributes
    ----------
    details : tuple of str
        Further lines of the season file.
    bought_lb : int or None
        For the season; None: the season file does not say.
    lost_lb : int
        What went neither through the meter nor back into the shed.
    """

    name: str
    price: str
    analysis: dict[str, float] = field(default_factory=dict)
    details: tuple[str, ...] = ()
    bought_lb: int | None = None
    lost_lb: int = 0


def _tag(
    purity: int, germination: int, hard_seed: int, seeds_per_lb: int, lb_per_bu: int
) -> tuple[str, ...]:
    """Lines of the season file with what a seed tag says."""
    return (
        'kind = "seed"',
        f"purity = {purity}",
        f"germination = {germination}",
        *((f"hard_seed = {hard_seed}",) if hard_seed else ()),
        f'seeds_per = "{seeds_per_lb} /lb"',
        f'bulk_density = "{lb_per_bu} lb/bu"',
    )


def _flowing(lb_per_cu_ft: int) -> tuple[str, ...]:
    """Lines of the season file about a fertilizer in the cart."""
    return (
        f'bulk_density = "{lb_per_cu_ft} lb/cu ft"',
        'rate_min = "40 lb/ac"',
        'rate_max = "400 lb/ac"',
    )


MATERIALS = (
    Material(
        "18-46-0",
        "840 USD/ton",
        {"N": 18, "P2O5": 46, "K2O": 0},
        _flowing(60),
        bought_lb=10_500,
        lost_lb=260,  # a tote torn beside the truck
    ),
    Material(
        "0-0-60", "520 USD/ton", {"N": 0, "P2O5": 0, "K2O": 60}, _flowing(65), bought_lb=7_500
    ),
    Material("cereal rye", "0.32 USD/lb", details=_tag(98, 92, 0, 18_000, 56)),
    Material("hairy vetch", "2.10 USD/lb", details=_tag(96, 75, 12, 16_000, 60)),
    Material("red clover", "3.40 USD/lb", details=_tag(98, 84, 8, 270_000, 60)),
    Material("orchardgrass", "3.90 USD/lb", details=_tag(92, 88, 0, 650_000, 14)),
    Material(
        "meadow mix",
        "3.60 USD/lb",
        details=('kind = "seed"', 'parts = { "red clover" = 3, orchardgrass = 2 }'),
    ),
)
FERTILIZER = {"18-46-0": 110.0, "0-0-60": 80.0}
COVER = {"cereal rye": 45.0, "hairy vetch": 15.0}
MEADOW = {"meadow mix": 10.0}
