"""The options of ``calibrate``, as typed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from evenacre.cli.options.derived import option

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
        Texts, option(TEST, 'A catch: "4.2 lb". Repeat it, or list "4.2 4.3 4.2 lb".')
    ] = None
    opener_catch: Annotated[
        Texts,
        option(TEST, 'Catches of the openers from the left: "22.6 22.4 22.0 g". Repeat for tests.'),
    ] = None
    turns: Annotated[float | None, option(TEST, "Turns made for each catch.")] = None
    turns_per_area: Annotated[
        Text, option(TEST, 'Crank test: turns for a unit of ground, "25/ac".')
    ] = None
    circumference: Annotated[Text, option(TEST, 'Wheel test: rolled by one turn, "8 ft".')] = None
    wheel_diameter: Annotated[Text, option(TEST, 'Instead: "0.8 m".')] = None
    area: Annotated[Text, option(TEST, 'Ground a catch stands for, where known: "0.1 ac".')] = None
    scale: Annotated[Text, option(TEST, 'Step of the scale: "0.1 lb".')] = None
    width: Annotated[Text, option(WIDTH, 'Working width: "20 ft".')] = None
    rows: Annotated[int | None, option(WIDTH, "Rows across the width.")] = None
    row_spacing: Annotated[Text, option(WIDTH, 'Instead: "7.5 in".')] = None
    rows_per_tower: Annotated[
        int | None, option(WIDTH, "Rows that one tower feeds: openers are compared by towers.")
    ] = None
    openers: Annotated[int | None, option(WIDTH, "Openers caught; all, if not said.")] = None
    product: Annotated[str, option(SETTING, "What was metered.")] = ""
    target: Annotated[Text, option(SETTING, 'Rate wanted: "25 lb/ac".')] = None
    tolerance: Annotated[float, option(SETTING, "Percent the rate may be off.")] = 5.0
    setting: Annotated[str, option(SETTING, "Setting of the meter in this test.")] = ""
    tested: Annotated[
        Texts, option(SETTING, 'Another setting tested, and its rate: "35=21.4lb/ac". Repeat.')
    ] = None
    beyond: Annotated[
        bool, option(SETTING, "Give guesses far beyond what was tested.", "--beyond")
    ] = False
    bulk_density: Annotated[Text, option(FILL, 'Bulk density: "48 lb/bu".')] = None
    fill: Annotated[
        Texts, option(FILL, 'A fill whose reach you ask: "180 bu" or "front=9000 lb".')
    ] = None
    compartment: Annotated[
        Texts, option(FILL, 'What is in compartments to end together: "front=7000 lb". Repeat.')
    ] = None
    roller: Annotated[str, option(BOOK, "Metering roller.")] = ""
    fan: Annotated[str, option(BOOK, "Fan speed or pressure, with its unit.")] = ""
    speed: Annotated[Text, option(BOOK, 'Ground speed: "5 mph".')] = None
    down_pressure: Annotated[str, option(BOOK, "Down pressure, with its unit.")] = ""
    trouble: Annotated[str, option(BOOK, "What went wrong, for next time.")] = ""
    date: Annotated[str, option(BOOK, "Day of the test; today, if not said.")] = ""
