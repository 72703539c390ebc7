"""What a person types for ``finish``, in SI units."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from evenacre.cli.options.derived import option
from evenacre.errors import InputError
from evenacre.units.parsing import Dimension, parse_quantity, plain_number

if TYPE_CHECKING:
    from evenacre.model import OperationPlan, Product
    from evenacre.planning.finish.rate_to_finish import Finish
    from evenacre.planning.loads.loads import Amount

JOB, TYPED, LEFT = "The job", "Without a log", "What is left"

# Common practice, no source.
_USUAL_ERROR = 0.01

Text = str | None


@dataclass(frozen=True)
class FinishOptions:
    """Options as typed; None where not given."""

    operation: Annotated[Text, option(JOB, "Which operation of the season.")] = None
    field: Annotated[Text, option(JOB, "Its field, where the name is not enough.")] = None
    product: Annotated[Text, option(JOB, "Which product; needed when there are several.")] = None
    rate: Annotated[Text, option(JOB, 'Present rate: "150 lb/ac".')] = None
    rate_min: Annotated[Text, option(JOB, "Least rate allowed.")] = None
    rate_max: Annotated[Text, option(JOB, "Highest rate allowed.")] = None
    left: Annotated[Text, option(LEFT, 'Mass left: "1400 lb".')] = None
    left_error: Annotated[
        Text, option(LEFT, 'Its standard uncertainty: "20 lb", or "1 %" (the usual).')
    ] = None
    loads: Annotated[Path | None, option(LEFT, "Table of load tickets, instead of --left.")] = None
    area: Annotated[Text, option(TYPED, 'Ground still to do: "18 ac".')] = None
    area_error: Annotated[
        Text, option(TYPED, 'Its standard uncertainty: "0.2 ac", or "1 %" (the usual).')
    ] = None
    overlap: Annotated[Text, option(TYPED, 'Ground driven twice: "3 %" (the usual).')] = None

    @property
    def rate_kg_per_m2(self) -> float | None:
        """The present rate."""
        return _rate(self.rate, "--rate")

    def ranged(self, product: Product) -> Product:
        """A product with the typed range in the place of its own.

        Raises
        ------
        InputError
            When the least rate is more than the highest.
        """
        least, most = _rate(self.rate_min, "--rate-min"), _rate(self.rate_max, "--rate-max")
        least = product.rate_min_kg_per_m2 if least is None else least
        most = product.rate_max_kg_per_m2 if most is None else most
        if least is not None and most is not None and least > most:
            what = "It is more than the highest rate."
            raise InputError.at("--rate-min", "", what, "Swap the two.")
        return replace(product, rate_min_kg_per_m2=least, rate_max_kg_per_m2=most)

    def applied_to(self, plan: OperationPlan) -> OperationPlan:
        """An operation with the load tickets and the range that were typed."""
        ranged = (
            replace(a, product=self.ranged(a.product))
            if self.product in (None, a.product.name)
            else a
            for a in plan.applications
        )
        tickets = self.loads or plan.ticket_file
        return replace(plan, ticket_file=tickets, applications=tuple(ranged))

    def amount_left(self) -> Amount | None:
        """Mass left as typed; None when it is to come from load tickets."""
        from evenacre.planning.loads.loads import Amount

        if self.left is None:
            if self.left_error is not None:
                what = "There is no --left to go with it."
                raise InputError.at("--left-error", "", what, "Add it.")
            return None
        kg = _positive(self.left, Dimension.MASS, "--left")
        return Amount(kg, _error(self.left_error, kg, Dimension.MASS, "--left-error"))

    def typed_finish(self) -> tuple[Finish, Product]:
        """Come out even from acres and pounds alone.

        Raises
        ------
        InputError
            When what is left is not given, or a figure makes no sense.
        """
        from evenacre.model import Product
        from evenacre.planning.finish.rate_to_finish import come_out_even, ground_left

        left = self.amount_left()
        if left is None:
            what = "Nobody said how much is left."
            raise InputError.at("--left", "", what, 'Add --left "1400 lb".')
        area = _positive(self.area or "", Dimension.AREA, "--area")
        sigma = _error(self.area_error, area, Dimension.AREA, "--area-error")
        overlap = None if self.overlap is None else _share(self.overlap, "--overlap")
        product = self.ranged(Product(self.product or "the load"))
        ground = ground_left(area, sigma, overlap=overlap)
        rate = self.rate_kg_per_m2
        return come_out_even(ground, left, rate_kg_per_m2=rate, product=product), product


def _rate(text: str | None, name: str) -> float | None:
    return None if text is None else _positive(text, Dimension.MASS_PER_AREA, name)


def _positive(text: str, dimension: Dimension, name: str) -> float:
    value = parse_quantity(text, dimension, file=name)
    if value <= 0:
        raise InputError.at(name, "", f'"{text}" is not above zero.', "Check the number.")
    return value


def _error(text: str | None, whole: float, dimension: Dimension, name: str) -> float:
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
