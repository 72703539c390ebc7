"""Make seeding of its table, of a drill and of a seed product."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from evenacre.errors import InputError
from evenacre.io.common.findings import Findings
from evenacre.io.common.problem_collector import KeyPath, ProblemCollector
from evenacre.io.season.checks import check_order, is_defined
from evenacre.io.season.files import SeasonFiles
from evenacre.io.season.pasture.cart import cart_of
from evenacre.io.season.pasture.rain import read_rain
from evenacre.io.season.pasture.schema import SeedingTable
from evenacre.io.season.products import bulk_target
from evenacre.io.season.values import SUNRISE_S, Height, Standing
from evenacre.language import tr
from evenacre.model import Booking, Implement, PastWeather, Product, Seeding
from evenacre.units.display import in_both

_ROUNDING = 1e-9
_WORK_FROM_S = 7.5 * 3600.0  # common practice, no source
_DRY_AFTER_DAYS = 1  # common practice, no source
_AT: KeyPath = ("seeding",)


def seeding_of(
    written: object,
    implements: Mapping[str, Implement | None],
    products: Mapping[str, Product | None],
    files: SeasonFiles,
) -> tuple[Seeding | None, list[str]]:
    """Check the ``[seeding]`` table against the drills and the seed there are.

    Returns the seeding, or None when something is wrong with it, and warnings.
    """
    problems = files.problems
    before = len(problems.problems)
    table = problems.check(SeedingTable, written, _AT)
    if table is None or not isinstance(written, Mapping):
        return None, []
    builder = _SeedingBuilder(table, written, implements, products, files)
    seeding = builder.build()
    return None if len(problems.problems) > before else seeding, builder.warnings


@dataclass
class _SeedingBuilder:
    table: SeedingTable
    written: Mapping[str, Any]
    implements: Mapping[str, Implement | None]
    products: Mapping[str, Product | None]
    files: SeasonFiles
    warnings: list[str] = field(default_factory=list)

    @property
    def problems(self) -> ProblemCollector:
        return self.files.problems

    def build(self) -> Seeding | None:
        table = self.table
        implement = self._named("implement", table.implement, self.implements)
        product = self._named("product", table.product, self.products)
        if product is not None and product.kind != "seed":
            remedy = tr('Name a seed lot or a blend; or write kind = "seed" under its [[product]].')
            self.problems.add(
                (*_AT, "product"), tr('"{name}" is not seed.', name=product.name), remedy
            )
            product = None
        rates = self._rates(product)
        self._check_days()
        self._check_spells()
        past = self._past_weather()
        residual = self._standing("residual", table.residual)
        regrowth = self._standing("regrowth_limit", table.regrowth_limit)
        if implement is None or product is None or rates is None:
            return None
        made: dict[str, Any] = {
            "product": product,
            "implement": implement,
            **rates,
            "on_hand_kg": product.bought_kg if table.on_hand is None else table.on_hand,
            "residual_most_kg_per_m2": residual,
            "regrowth_most_kg_per_m2": regrowth,
            "day_from_s": None if self._work_from_s == SUNRISE_S else self._work_from_s,
            "hours_most_s": table.hours,
            "ready": tuple(table.ready),
            "past_weather": past,
            "lost_days": tuple(sorted(set(table.lost_days))),
            "bookings": tuple(
                Booking(b.first, b.last or b.first, b.what, b.hours) for b in table.booked
            ),
            **{"compartments": ()} | self._cart(product, implement),
        }
        return Seeding(**table.given(Seeding) | made)

    def _cart(self, product: Product, implement: Implement) -> dict[str, Any]:
        told = (self.table, self.written, product, implement, self.products)
        made, warnings = cart_of(*told, self.problems)
        self.warnings += warnings
        return made

    def _named(self, key: str, name: str | None, defined: Mapping[str, Any]) -> Any:
        if name is not None:
            is_defined(name, key, defined, self.problems, (*_AT, key))
            return defined.get(name)
        if key not in self.written:
            known = next(filter(None, defined), "drill")
            self.problems.add(
                (*_AT, key),
                tr("{key} is missing.", key=key),
                tr('Add {key} = "{known}".', key=key, known=known),
            )
        return None

    def _rates(self, product: Product | None) -> dict[str, float] | None:
        """Return the bulk rate wanted, the least and the highest, kg per m2."""
        table = self.table
        if not {"rate", "pls_rate"} & set(self.written):
            remedy = tr('Add rate = "10 lb/ac", or pls_rate.')
            self.problems.add((*_AT, "rate"), tr("The seed has no rate."), remedy)
        if product is None:
            return None
        rate = bulk_target(table.rate, table.pls_rate, product, self.products, self.problems, _AT)
        before = len(self.problems.problems)
        what, at = tr("rate_min is higher than rate_max."), (*_AT, "rate_min")
        check_order(table.rate_min, table.rate_max, what, self.problems, at)
        if rate is None or len(self.problems.problems) > before:
            return None
        least, most = table.rate_min, table.rate_max
        least = product.rate_min_kg_per_m2 if least is None else least
        most = product.rate_max_kg_per_m2 if most is None else most
        told = tr("The rate of {in_both} is", in_both=in_both("rate", rate))
        what = ""
        if least is not None and rate < least * (1 - _ROUNDING):
            what = tr(
                "{told} under rate_min, {in_both}.", told=told, in_both=in_both("rate", least)
            )
        elif most is not None and rate > most * (1 + _ROUNDING):
            what = tr("{told} over rate_max, {in_both}.", told=told, in_both=in_both("rate", most))
        if what:
            key = "rate" if table.pls_rate is None else "pls_rate"
            self.problems.add((*_AT, key), what, tr("Correct one of them."))
        return {
            "rate_kg_per_m2": rate,
            "least_rate_kg_per_m2": min(rate, least or rate),
            "most_rate_kg_per_m2": max(rate, most or rate),
        }

    def _check_days(self) -> None:
        table, problems = self.table, self.problems
        first, last = table.first_day, table.last_day
        what = tr("Seeding ends on {last}, but begins only on {first}.", last=last, first=first)
        check_order(first, last, what, problems, (*_AT, "last_day"))
        what, at = tr("The day's work ends before it begins."), (*_AT, "to")
        remedy = tr('Write from = "07:30" and to = "19:00".')
        check_order(self._work_from_s, table.day_to, what, problems, at, remedy, apart=True)
        opens, closes = table.opens_after, table.closes_after
        closes = Seeding.closes_after_days if closes is None else closes
        what = tr(
            "Every window closes after {closes} days, before it opens after {opens}.",
            closes=closes,
            opens=opens,
        )
        remedy = tr("Give closes_after more days than opens_after.")
        check_order(opens, closes, what, problems, (*_AT, "closes_after"), remedy)
        for index, booked in enumerate(table.booked):
            what = tr(
                "It ends on {last}, but begins only on {first}.",
                last=booked.last,
                first=booked.first,
            )
            at = (*_AT, "booked", index, "to")
            check_order(booked.first, booked.last, what, problems, at)

    @property
    def _work_from_s(self) -> float:
        """When a day's work begins."""
        return _WORK_FROM_S if self.table.day_from is None else self.table.day_from

    def _check_spells(self) -> None:
        """Hold the length of spells against how often days are lost at all."""
        chance, spell = self.table.lost_chance, self.table.lost_spell
        at = (*_AT, "lost_spell")
        if spell is None:
            return
        if self.table.rain is not None:
            what = tr("rain tells how many days are lost in a row.")
            self.problems.add(at, what, tr("Take out lost_spell, or rain."))
        elif chance is None:
            if "lost_chance" not in self.written:
                what = tr("It is not told how many days are lost at all.")
                self.problems.add(at, what, tr("Add lost_chance = 25, say, or rain."))
        elif chance in (0.0, 1.0):
            days = "no" if chance == 0.0 else "every"
            self.warnings.append(
                tr("lost_spell tells nothing where {days} day is lost.", days=days)
            )
        else:
            # With two good days never more than one apart, the most spells there can be.
            least = chance / (1.0 - chance)
            if spell < least * (1.0 - _ROUNDING):
                what = tr(
                    "With {chance:.0%} of days lost, {least:.1f} in a row are on "
                    "average, even where no two good days follow one another.",
                    chance=chance,
                    least=least,
                )
                self.problems.add(at, what, tr("Make lost_spell longer, or lost_chance less."))
            elif spell < (1.0 - _ROUNDING) / (1.0 - chance):
                self.warnings.append(
                    tr(
                        "Spells of {spell:g} days are shorter than chance alone makes them: "
                        "with {chance:.0%} of days lost each by itself, {chance_2:.1f} in a "
                        "row would be lost on average.",
                        spell=spell,
                        chance=chance,
                        chance_2=1 / (1 - chance),
                    )
                )

    def _past_weather(self) -> PastWeather | None:
        """The farm's table of rain, where it is named."""
        table, at = self.table, (*_AT, "rain")
        if table.rain is None:
            for key in ("rain_that_stops", "dry_after"):
                if getattr(table, key) is not None and "rain" not in self.written:
                    what = tr("There is no table of rain to hold it against.")
                    self.problems.add(
                        (*_AT, key), what, tr('Add rain = "rain.csv", or take it out.')
                    )
            return None
        stops = table.rain_that_stops
        if stops is None:
            if "rain_that_stops" not in self.written:
                what = tr("How much rain stops the drill is not told.")
                remedy = tr('Add rain_that_stops = "0.2 in".')
                self.problems.add((*_AT, "rain_that_stops"), what, remedy)
            return None
        path = self.files.find(table.rain, at)
        if path is None:
            return None
        findings = Findings()
        try:
            first, rain_m = read_rain(path, findings)
        except InputError as error:
            self.problems.take(error)
            return None
        self.warnings += [*findings.notes, *findings.warnings]
        return PastWeather(
            first=first,
            rain_m=rain_m,
            source=table.rain,
            stops_m=stops,
            dry_after_days=_DRY_AFTER_DAYS if table.dry_after is None else table.dry_after,
            allowance_told=table.lost_chance is not None,
        )

    def _standing(self, key: str, value: Standing | None) -> float | None:
        """Mass per area of what stands, where it may be told by its height."""
        if not isinstance(value, Height):
            return value
        if self.table.mass_per_height is not None:
            return value.height_m * self.table.mass_per_height
        if "mass_per_height" not in self.written:
            what = tr("It is a height, but not told what stands on an area for each bit of it.")
            remedy = tr('Add mass_per_height = "250 lb/ac/in", or give a mass per area.')
            self.problems.add((*_AT, key), what, remedy)
        return None
