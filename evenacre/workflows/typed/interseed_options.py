"""What is typed for a plan of a season of seeding that is under way."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from evenacre.errors import InputError
from evenacre.language import tr
from evenacre.workflows.typed.declared import Typed

if TYPE_CHECKING:
    from evenacre.model import Season

UNDER_WAY = "A season under way"


@dataclass(frozen=True)
class InterseedOptions:
    """Options as typed; None where not given."""

    from_today: Annotated[
        bool,
        Typed(
            UNDER_WAY,
            "Plan the rest from today on: what the logs of the season's operations show as "
            "seeded is done.",
        ),
    ] = False
    from_day: Annotated[
        str | None, Typed(UNDER_WAY, "The same from another day on: 2026-08-20.", "--from")
    ] = None
    in_cart: Annotated[
        str | None,
        Typed(UNDER_WAY, 'Seed in the cart then: "40 lb"; as tickets tell, else none.'),
    ] = None

    def read(self, file: Path) -> tuple[Season, dict[str, Any]]:
        """Read the season, and what of a plan of it was typed, as `run_interseeding` takes it.

        Raises
        ------
        InputError
            With every complaint about the season, or where options do not go together.
        """
        from evenacre.io.season.load import load_season

        self.asked()
        season = load_season(file, logs=self._under_way, must_hold="seeding")
        return season, self.asked(season.time_zone)

    def asked(self, time_zone: str | None = None) -> dict[str, Any]:
        """What of a plan was typed, in a season of a time zone.

        Raises
        ------
        InputError
            When it cannot be read, or does not go together.
        """
        from evenacre.io.season.under_way import amount_in_cart, plan_begin

        if self.from_today and self.from_day is not None:
            what = tr("It does not go with --from-today.")
            raise InputError.at("--from", "", what, "Give one of them.")
        asked: dict[str, Any] = {}
        if self.in_cart is not None:
            asked["in_cart_kg"] = amount_in_cart(self.in_cart, file="--in-cart")
        if self._under_way:
            asked["from_day"] = plan_begin(self.from_day, time_zone, file="--from")
        return asked

    @property
    def _under_way(self) -> bool:
        return self.from_today or self.from_day is not None
