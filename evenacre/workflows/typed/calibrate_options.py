"""What is typed for a test of the meter."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from evenacre.workflows.typed.declared import Typed

TEST, WIDTH, SETTING, FILL, BOOK = (
    "The test",
    "What was caught",
    "Setting and target",
    "Fills",
    "The settings book",
)
Text = str | None
Texts = list[str] | None


@dataclass(frozen=True)
class CalibrateOptions:
    """A stationary test of the meter, and what is asked about it."""

    catch: Annotated[
        Texts, Typed(TEST, 'A catch: "4.2 lb". Repeat it, or list "4.2 4.3 4.2 lb".')
    ] = None
    opener_catch: Annotated[
        Texts,
        Typed(TEST, 'Catches of the openers from the left: "22.6 22.4 22.0 g". Repeat for tests.'),
    ] = None
    turns: Annotated[float | None, Typed(TEST, "Turns made for each catch.")] = None
    turns_per_area: Annotated[
        Text, Typed(TEST, 'Crank test: turns for a unit of ground, "25/ac".')
    ] = None
    circumference: Annotated[Text, Typed(TEST, 'Wheel test: rolled by one turn, "8 ft".')] = None
    wheel_diameter: Annotated[Text, Typed(TEST, 'Instead: "0.8 m".')] = None
    area: Annotated[Text, Typed(TEST, 'Ground a catch stands for, where known: "0.1 ac".')] = None
    scale: Annotated[Text, Typed(TEST, 'Step of the scale: "0.1 lb".')] = None
    width: Annotated[Text, Typed(WIDTH, 'Working width: "20 ft".')] = None
    rows: Annotated[int | None, Typed(WIDTH, "Rows across the width.")] = None
    row_spacing: Annotated[Text, Typed(WIDTH, 'Instead: "7.5 in".')] = None
    rows_per_tower: Annotated[
        int | None, Typed(WIDTH, "Rows that one tower feeds: openers are compared by towers.")
    ] = None
    openers: Annotated[int | None, Typed(WIDTH, "Openers caught; all, if not said.")] = None
    product: Annotated[str, Typed(SETTING, "What was metered.")] = ""
    target: Annotated[Text, Typed(SETTING, 'Rate wanted: "25 lb/ac".')] = None
    tolerance: Annotated[float, Typed(SETTING, "Percent the rate may be off.")] = 5.0
    setting: Annotated[str, Typed(SETTING, "Setting of the meter in this test.")] = ""
    tested: Annotated[
        Texts, Typed(SETTING, 'Another setting tested, and its rate: "35=21.4lb/ac". Repeat.')
    ] = None
    beyond: Annotated[bool, Typed(SETTING, "Give guesses far beyond what was tested.")] = False
    bulk_density: Annotated[Text, Typed(FILL, 'Bulk density: "48 lb/bu".')] = None
    fill: Annotated[
        Texts, Typed(FILL, 'A fill whose reach you ask: "180 bu" or "front=9000 lb".')
    ] = None
    compartment: Annotated[
        Texts, Typed(FILL, 'What is in compartments to end together: "front=7000 lb". Repeat.')
    ] = None
    roller: Annotated[str, Typed(BOOK, "Metering roller.")] = ""
    fan: Annotated[str, Typed(BOOK, "Fan speed or pressure, with its unit.")] = ""
    speed: Annotated[Text, Typed(BOOK, 'Ground speed: "5 mph".')] = None
    down_pressure: Annotated[str, Typed(BOOK, "Down pressure, with its unit.")] = ""
    trouble: Annotated[str, Typed(BOOK, "What went wrong, for next time.")] = ""
    date: Annotated[str, Typed(BOOK, "Day of the test; today, if not said.")] = ""


@dataclass(frozen=True)
class BookedOptions(CalibrateOptions):
    """The same, with what is asked of the settings book."""

    no_book: Annotated[bool, Typed(BOOK, "Do not note the test.")] = False
    lookup: Annotated[bool, Typed(BOOK, "Only ask the book for the nearest past settings.")] = False
