"""What a person types for ``finish``, in SI units."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

from evenacre.errors import InputError
from evenacre.units.parsing import plain_number

if TYPE_CHECKING:
    from evenacre.model import Application, Product
    from evenacre.planning.finish.rate_to_finish import Finish
    from evenacre.planning.loads.loads import Amount
    from evenacre.units.parsing import Dimension

# Common practice, no source.
_USUAL_ERROR = 0.01


@dataclass(frozen=True)
class FinishTexts:
    """Options as typed; None where not given."""

    left: str | None = None
    left_error: str | None = None
    rate: str | None = None
    rate_min: str | None = None
    rate_max: str | None = None
    area: str | None = None
    area_error: str | None = None
    overlap: str | None = None
    product: str | None = None

    @cached_property
    def rate_kg_per_m2(self) -> float | None:
        """The present rate."""
        return self._rate(self.rate, "--rate")

    def with_range(self, applications: Iterable[Application]) -> tuple[Application, ...]:
        """Let the typed range stand in the place of the product's own."""
        return tuple(
            replace(a, product=self.ranged(a.product))
            if self.product in (None, a.product.name)
            else a
            for a in applications
        )

    def ranged(self, product: Product) -> Product:
        """A product with the typed range.

        Raises
        ------
        InputError
            When the least rate is more than the highest.
        """
        least = self._rate(self.rate_min, "--rate-min")
        most = self._rate(self.rate_max, "--rate-max")
        if least is None:
            least = product.rate_min_kg_per_m2
        if most is None:
            most = product.rate_max_kg_per_m2
        if least is not None and most is not None and least > most:
            raise InputError.at(
                "--rate-min", "", "It is more than the highest rate.", "Swap the two."
            )
        return replace(product, rate_min_kg_per_m2=least, rate_max_kg_per_m2=most)

    def _rate(self, text: str | None, name: str) -> float | None:
        from evenacre.units.parsing import Dimension

        return None if text is None else positive(text, Dimension.MASS_PER_AREA, name)


def amount_left(texts: FinishTexts) -> Amount | None:
    """Mass left as typed; None when it is to come from load tickets."""
    from evenacre.planning.loads.loads import Amount
    from evenacre.units.parsing import Dimension

    if texts.left is None:
        if texts.left_error is not None:
            raise InputError.at("--left-error", "", "There is no --left to go with it.", "Add it.")
        return None
    kg = positive(texts.left, Dimension.MASS, "--left")
    return Amount(kg, _error(texts.left_error, kg, Dimension.MASS, "--left-error"))


def typed_finish(texts: FinishTexts) -> tuple[Finish, Product]:
    """Come out even from acres and pounds alone.

    Raises
    ------
    InputError
        When what is left is not given, or a figure makes no sense.
    """
    from evenacre.model import Product
    from evenacre.planning.finish.rate_to_finish import come_out_even, typed_ground
    from evenacre.units.parsing import Dimension

    left = amount_left(texts)
    if left is None:
        raise InputError.at("--left", "", "Nobody said how much is left.", 'Add --left "1400 lb".')
    area = positive(texts.area or "", Dimension.AREA, "--area")
    sigma = _error(texts.area_error, area, Dimension.AREA, "--area-error")
    overlap = None if texts.overlap is None else _share(texts.overlap, "--overlap")
    product = texts.ranged(Product(texts.product or "the load"))
    ground = typed_ground(area, sigma, overlap)
    return come_out_even(
        ground, left, rate_kg_per_m2=texts.rate_kg_per_m2, product=product
    ), product


def positive(text: str, dimension: Dimension, name: str) -> float:
    """Read a quantity that has to be above zero."""
    from evenacre.units.parsing import parse_quantity

    value = parse_quantity(text, dimension, file=name)
    if value <= 0:
        raise InputError.at(name, "", f'"{text}" is not above zero.', "Check the number.")
    return value


def _error(text: str | None, whole: float, dimension: Dimension, name: str) -> float:
    from evenacre.units.parsing import parse_quantity

    if text is None:
        return _USUAL_ERROR * whole
    if text.strip().endswith("%"):
        return _share(text, name) * whole
    value = parse_quantity(text, dimension, file=name)
    if value < 0:
        raise InputError.at(name, "", f'"{text}" is below zero.', "Check the number.")
    return value


def _share(text: str, name: str) -> float:
    """Read a percentage."""
    percent = plain_number(text.strip().removesuffix("%"))
    if percent is None or not text.strip().endswith("%") or not 0 <= percent / 100 <= 1:
        raise InputError.at(name, "", f'"{text}" is not a percentage.', 'Write it as "3 %".')
    return percent / 100
