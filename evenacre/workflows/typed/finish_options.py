"""What a person types for ``finish``, in SI units."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from evenacre.errors import InputError, Problem, gathered
from evenacre.language import tr
from evenacre.units.parsing import Dimension, parse_quantity, plain_number
from evenacre.workflows.typed.declared import Typed

if TYPE_CHECKING:
    from evenacre.model import OperationPlan, PastSetting, Product
    from evenacre.planning.finish.rate_to_finish import Finish
    from evenacre.planning.finish.so_far import Change, SoFar
    from evenacre.planning.loads.loads import Amount

JOB, TYPED, LEFT = "The job", "Without a log", "What is left"

# Common practice, no source; the second of a part of the cart that somebody tells by eye.
_USUAL_ERROR, _BY_EYE = 0.01, 0.05
_OF_START, _OF_FULL = ("of start", "of the start"), ("of full", "of capacity", "of the cart")

Text = str | None


@dataclass(frozen=True)
class FinishOptions:
    """Options as typed; None where not given."""

    operation: Annotated[Text, Typed(JOB, "Which operation of the season.")] = None
    field: Annotated[Text, Typed(JOB, "Its field, where the name is not enough.")] = None
    product: Annotated[Text, Typed(JOB, "Which product; needed when there are several.")] = None
    rate: Annotated[Text, Typed(JOB, 'Present rate: "150 lb/ac".')] = None
    rate_min: Annotated[Text, Typed(JOB, "Least rate allowed.")] = None
    rate_max: Annotated[Text, Typed(JOB, "Highest rate allowed.")] = None
    left: Annotated[
        Text, Typed(LEFT, 'Mass left: "1400 lb"; or "50 %" of --started or --full.')
    ] = None
    left_error: Annotated[
        Text,
        Typed(
            LEFT,
            'Its standard uncertainty: "20 lb", or "1 %" (the usual; 5 % of the whole for a part).',
        ),
    ] = None
    full: Annotated[
        Text, Typed(LEFT, 'What the cart holds: "5400 lb"; by its volume, in a season file.')
    ] = None
    loads: Annotated[Path | None, Typed(LEFT, "Table of load tickets, instead of --left.")] = None
    area: Annotated[Text, Typed(TYPED, 'Ground still to do: "18 ac".')] = None
    area_error: Annotated[
        Text, Typed(TYPED, 'Its standard uncertainty: "0.2 ac", or "1 %" (the usual).')
    ] = None
    started: Annotated[Text, Typed(TYPED, 'Mass in the cart when it began: "1250 lb".')] = None
    done: Annotated[Text, Typed(TYPED, 'Ground done since: "25 ac".')] = None
    setting: Annotated[str, Typed(TYPED, "Setting of the meter now; the book's last.")] = ""
    overlap: Annotated[Text, Typed(TYPED, 'Ground driven twice: "3 %" (the usual).')] = None

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
            what = tr("It is more than the highest rate.")
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

    @property
    def typed(self) -> bool:
        """Whether figures alone are to do."""
        return self.area is not None or self.done is not None

    def check(self) -> None:
        """Look at each option by itself, and whether one that is needed is missing.

        Raises
        ------
        InputError
            With everything that is wrong.
        """
        problems: list[Problem] = []
        for name, dimension in _AMOUNTS.items():
            text = getattr(self, name)
            if text is not None and not (name == "left" and "%" in text):
                with gathered(problems):
                    nought = _NO_GROUND if name == "area" else ""
                    _positive(text, dimension, _flag(name), nought, or_none=name == "left")
        for name, dimension in _ERRORS.items():
            with gathered(problems):
                _error(getattr(self, name), 1.0, dimension, _flag(name))
        if self.overlap is not None:
            with gathered(problems):
                _share(self.overlap, "--overlap")
        if self.typed and self.left is None:
            with gathered(problems):
                self._typed_left()
        if self.typed and self._tells_so_far:
            problems += self._not_begun()
        if problems:
            raise InputError(problems)

    def amount_left(self, full_kg: float | None = None) -> Amount | None:
        """Mass left as typed; None when it is to come from load tickets.

        ``full_kg`` is what the cart holds, where a season file tells it.
        """
        from evenacre.planning.loads.loads import Amount

        if self.left is None:
            if self.left_error is not None:
                what = tr("There is no --left to go with it.")
                raise InputError.at("--left-error", "", what, "Add it.")
            return None
        if self.full is not None and "%" not in self.left:
            what = tr("What is left is told as a mass, which needs no full cart.")
            raise InputError.at("--full", "", what, "Leave it out.")
        if "%" in self.left:
            whole, part = self._whole_kg(full_kg)
            # That a cart is empty is seen as well as weighed.
            kg, usual = part * whole, _BY_EYE * whole if part else 0.0
        else:
            kg = _positive(self.left, Dimension.MASS, "--left", or_none=True)
            usual = _USUAL_ERROR * kg
        return Amount(kg, _error(self.left_error, kg, Dimension.MASS, "--left-error", usual))

    def _whole_kg(self, full_kg: float | None) -> tuple[float, float]:
        """What it is a part of that is left, and which."""
        text = " ".join((self.left or "").lower().split())
        of_start, of_full = text.endswith(_OF_START), text.endswith(_OF_FULL)
        percent = plain_number(text.partition("%")[0])
        if percent is not None and percent > 100:
            what = tr('"{left}" is more than all of it.', left=self.left)
            raise InputError.at("--left", "", what, tr("Write what part is left, up to 100 %."))
        part = _share(text.partition("%")[0] + "%", "--left")
        if not of_start and not of_full and text[-1] != "%":
            what = tr('"{left}" does not tell of what.', left=self.left)
            raise InputError.at("--left", "", what, tr('Write "50 % of start" or "50 % of full".'))
        started = self._started_kg
        full = full_kg if self.full is None else _positive(self.full, Dimension.MASS, "--full")
        if started is not None and full is not None and not of_start and not of_full:
            what = tr('"{left}" may be of what it began with or of a full cart.', left=self.left)
            raise InputError.at("--left", "", what, tr('Write "50 % of start" or "50 % of full".'))
        whole = full if of_full else started if of_start or full is None else full
        if whole is None:
            name = "--started" if of_start else "--full"
            what = tr('What "{left}" is a part of is not known.', left=self.left)
            raise InputError.at(
                "--left", "", what, tr('Give {name} "5400 lb", or a mass.', name=name)
            )
        return whole, part

    @property
    def _started_kg(self) -> float | None:
        return (
            None if self.started is None else _positive(self.started, Dimension.MASS, "--started")
        )

    def so_far(self) -> SoFar:
        """What went on so far, by what it began with and what is left.

        Raises
        ------
        InputError
            When a figure is missing or they do not go together.
        """
        from evenacre.planning.finish.rate_to_finish import told_overlap
        from evenacre.planning.finish.so_far import SoFar
        from evenacre.planning.loads.loads import Amount

        if missing := self._not_begun():
            raise InputError(missing)
        left, started = self._typed_left(), self._started_kg or 0.0
        done = _positive(self.done or "", Dimension.AREA, "--done")
        if left.kg >= started:
            what = tr(
                'No less is left than "{started}", which it began with.', started=self.started
            )
            raise InputError.at(
                "--left", "", what, tr("Weigh it again, or add what was filled in.")
            )
        sigma = _error(self.area_error, done, Dimension.AREA, "--area-error")
        overlap = None if self.overlap is None else _share(self.overlap, "--overlap")
        began = Amount(started, _USUAL_ERROR * started)
        return SoFar(began, left, done, sigma, *told_overlap(overlap))

    @property
    def _tells_so_far(self) -> bool:
        """Whether what the cart lost is to tell the rate."""
        part = "%" in (self.left or "")
        return self.done is not None or (self.started is not None and not part)

    def _not_begun(self) -> list[Problem]:
        """What is missing of how it began and what was done since."""
        what = tr("What was put on so far is not known without it.")
        return [
            Problem(
                _flag(name), "", what, tr('Add {name} "{example}".', name=_flag(name), example=e)
            )
            for name, e in (("started", "1250 lb"), ("done", "25 ac"))
            if getattr(self, name) is None
        ]

    def _typed_left(self) -> Amount:
        left = self.amount_left()
        if left is None:
            what = tr("Nobody said how much is left.")
            raise InputError.at("--left", "", what, tr('Add --left "1400 lb".'))
        return left

    def typed_finish(
        self, past: Sequence[PastSetting] = ()
    ) -> tuple[Finish, Product, SoFar | None, Change | None]:
        """Come out even from acres and pounds alone; ``past`` are lines of the settings book.

        Raises
        ------
        InputError
            When what is left is not given, or a figure makes no sense.
        """
        from evenacre.model import Product
        from evenacre.planning.finish.rate_to_finish import come_out_even, ground_left

        left = self._typed_left()
        area = _positive(self.area or "", Dimension.AREA, "--area", _NO_GROUND)
        sigma = _error(self.area_error, area, Dimension.AREA, "--area-error")
        overlap = None if self.overlap is None else _share(self.overlap, "--overlap")
        product = self.ranged(Product(self.product or "the load"))
        ground = ground_left(area, sigma, overlap=overlap)
        rate = self.rate_kg_per_m2
        if not self._tells_so_far:
            if self.setting:
                what = tr("Without --started and --done nothing is known of what it puts on.")
                raise InputError.at("--setting", "", what, tr("Add them, or leave it out."))
            finish = come_out_even(ground, left, rate_kg_per_m2=rate, product=product)
            return finish, product, None, None
        from evenacre.planning.finish.so_far import change_setting, finish_so_far

        if rate is not None:
            what = tr("--started and --done tell it.")
            raise InputError.at("--rate", "", what, tr("Leave it out, or them."))
        done = self.so_far()
        finish, within = finish_so_far(ground, done, product)
        if finish.empty:  # there is nothing to set the meter for
            return finish, product, done, None
        change = change_setting(
            finish.even_kg_per_m2 / done.rate_kg_per_m2,
            within,
            setting=self.setting.strip(),
            product=self.product or "",
            rate_kg_per_m2=finish.even_kg_per_m2,
            past=past,
        )
        return finish, product, done, change

    def typed_so_far(self, past: Sequence[PastSetting] = ()) -> tuple[SoFar, Change | None]:
        """What went on so far, and what the rate wanted, if any, makes of the setting."""
        from evenacre.planning.finish.so_far import change_setting
        from evenacre.planning.intervals import REACH

        done, rate = self.so_far(), self.rate_kg_per_m2
        if rate is None:
            return done, None
        reach = REACH * done.rate_sigma_kg_per_m2
        low, high = rate / (done.rate_kg_per_m2 + reach), done.rate_kg_per_m2 - reach
        change = change_setting(
            rate / done.rate_kg_per_m2,
            (low, rate / high if high > 0 else math.inf),
            setting=self.setting.strip(),
            product=self.product or "",
            rate_kg_per_m2=rate,
            past=past,
        )
        return done, change


_NO_GROUND = "Nothing is left to do, so no rate ends the load there"
_AMOUNTS = {
    "rate": Dimension.MASS_PER_AREA,
    "rate_min": Dimension.MASS_PER_AREA,
    "rate_max": Dimension.MASS_PER_AREA,
    "left": Dimension.MASS,
    "full": Dimension.MASS,
    "started": Dimension.MASS,
    "area": Dimension.AREA,
    "done": Dimension.AREA,
}
_ERRORS = {"left_error": Dimension.MASS, "area_error": Dimension.AREA}


def _flag(name: str) -> str:
    return f"--{name.replace('_', '-')}"


def _rate(text: str | None, name: str) -> float | None:
    return None if text is None else _positive(text, Dimension.MASS_PER_AREA, name)


def _positive(
    text: str, dimension: Dimension, name: str, nought: str = "", *, or_none: bool = False
) -> float:
    value = parse_quantity(text, dimension, file=name)
    if value == 0 and nought:
        raise InputError.at(name, "", f"{nought}.", "Check the figure.")
    if value < 0 or (value == 0 and not or_none):
        raise InputError.at(
            name, "", tr('"{said}" is not above zero.', said=text), "Check the number."
        )
    return value


def _error(
    text: str | None, whole: float, dimension: Dimension, name: str, usual: float | None = None
) -> float:
    if text is None:
        return _USUAL_ERROR * whole if usual is None else usual
    if text.strip().endswith("%"):
        return _share(text, name) * whole
    value = parse_quantity(text, dimension, file=name)
    if value < 0:
        raise InputError.at(name, "", tr('"{said}" is below zero.', said=text), "Check the number.")
    return value


def _share(text: str, name: str) -> float:
    """Read a percentage."""
    percent = plain_number(text.strip().removesuffix("%"))
    if percent is None or not text.strip().endswith("%") or not 0 <= percent / 100 <= 1:
        raise InputError.at(
            name, "", tr('"{said}" is not a percentage.', said=text), 'Write it as "3 %".'
        )
    return percent / 100
