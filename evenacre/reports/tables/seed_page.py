"""Tables of seed, and of fertilizer placed with it."""

from __future__ import annotations

from evenacre.planning.season.salt import CAUTION, SOURCE
from evenacre.planning.season.season_totals import Ledger
from evenacre.reports.tables.audit_page import Account
from evenacre.units.display import UnitSystem

_INCH_M = 0.0254


def seed_account(ledger: Ledger, u: UnitSystem) -> Account:
    """Seed on the ground, lot by lot."""
    per_area = f"seeds per {u.small_area.label}"
    per_si = 1 / u.small_area.per_si

    def seeds(per_m2: float | None) -> str:
        return "" if per_m2 is None else f"{per_m2 * per_si:,.3g}"

    rows = [
        (
            s.field,
            s.product,
            s.rate.product if s.rate.product != s.product else "",
            u.rate.text(s.rate.bulk_kg_per_m2),
            "" if s.rate.pls_kg_per_m2 is None else u.rate.text(s.rate.pls_kg_per_m2),
            seeds(s.rate.pure_seeds_per_m2),
            seeds(s.rate.live_seeds_per_m2),
            u.mass.text(s.total_kg, 4),
        )
        for s in ledger.seed
    ]
    head = (
        "Field",
        "Seed",
        "Part",
        "Bulk",
        "Pure live seed",
        per_area.capitalize(),
        f"Live {per_area}",
        "Total",
    )
    return Account(
        "Seed",
        head,
        rows,
        words=3,
        remark="Pure live seed is purity times (germination + hard seed), as on the tag.",
    )


def salt_account(ledger: Ledger, u: UnitSystem) -> Account:
    """Fertilizer that was placed with the seed, against the screening formula."""

    def short(metres: float) -> str:
        return f"{metres / _INCH_M:.3g} in" if u.name == "us" else f"{metres * 100:.3g} cm"

    rows = [
        (
            s.field,
            s.product,
            s.crop,
            f"S {short(s.spread_m)}, T {s.tolerated_loss_percent:g} %, "
            f"C {s.slope_percent_per_lb_ac:g}, R {short(s.row_spacing_m)}, M {s.soil_factor:g}",
            "over" if s.over else "within",
            u.rate.text(s.placed_kg_per_m2),
            u.rate.text(s.limit_kg_per_m2),
            f"{s.loss_percent:.1f} %",
        )
        for s in ledger.salt
    ]
    head = ("Field", "Product", "Crop", "Taken", "", "Placed", "Most (F)", "Stand lost")
    return Account(
        "Fertilizer with the seed",
        head,
        rows,
        words=5,
        remark=(
            "F = 30 S T / (C R M): S how wide the opener spreads, in inches; T the loss of stand "
            "that is tolerated; C the loss for each lb/ac; R the row spacing in inches; M soil "
            f"texture and moisture; F in lb/ac. Source: {SOURCE}. {CAUTION}"
        ),
    )
