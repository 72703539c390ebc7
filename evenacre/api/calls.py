"""The jobs of the command line as calls: audit, measure, plan, finish, calibrate."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import fields, replace
from pathlib import Path
from typing import Any, TypeAlias, overload

from shapely import Point

from evenacre.api.arguments import (
    Drawn,
    Log,
    Products,
    Quantity,
    as_list,
    check_names,
    crs_text,
    frame_of,
    given,
    product_texts,
    read_logs,
    stand_in,
)
from evenacre.errors import InputError
from evenacre.io.maps.field_layers import NAME_COLUMNS, names_of
from evenacre.io.season.from_options import OPTIONS, season_from_options
from evenacre.io.season.from_taskdata import season_from_taskdata
from evenacre.io.season.load import load_season
from evenacre.io.season.pass_inputs import (
    Ground,
    ground_of_options,
    ground_of_season,
    read_drive_options,
)
from evenacre.io.season.plan_json import read_plan
from evenacre.io.season.under_way import amount_in_cart, plan_begin
from evenacre.io.settings_book.book import read_book
from evenacre.io.taskdata.folder import is_taskdata
from evenacre.language import ENGLISH, spoken
from evenacre.model import Field, Implement, InputFile, Season, Settings, Track
from evenacre.planning.calibration.calibrate import calibrate as worked_out
from evenacre.planning.passes.pass_types import Drive, PassPlan
from evenacre.units.display import unit_system
from evenacre.workflows.audit import Audit, run_audit
from evenacre.workflows.calibrate import MeterSetting
from evenacre.workflows.called import about_arguments
from evenacre.workflows.finish import (
    ComeOutEven,
    RateSoFar,
    chosen_operation,
    finish_operation,
    typed_answer,
)
from evenacre.workflows.gather import gathered_season, is_to_be_gathered
from evenacre.workflows.interseed import Interseeding, run_interseeding
from evenacre.workflows.measure import MeasuredDrill, run_measure
from evenacre.workflows.passes import PlannedPasses, drive_over, fenced_as, run_passes

Source: TypeAlias = Log | Season | Sequence[Log]
"""What a job is read from: a season, or logs of the drive."""

# What the command line has options for, and a call takes under the same name.
_KEYS = [name for name, option in OPTIONS.items() if option.path[0] not in ("seeding", "product")]
_CALLED = {"tracks": "source", "product": "products", "price": "prices", "column": "columns"}
_MAPS = ("boundary", "zones", "unworkable", "cross", "setbacks")
_SINGLE = ("width", "rows", "row_spacing", "setback_distance")
_DRIVING = (
    *("rounds", "headland", "speed", "turn_speed", "turn_radius", "prefer", "blocks", "fence"),
    *("tractor_length", "tractor_width"),
)


def audit(
    source: Source,
    boundary: Drawn | None = None,
    *,
    width: Quantity | None = None,
    rows: int | None = None,
    row_spacing: Quantity | None = None,
    implement: Implement | None = None,
    products: Products = (),
    prices: Mapping[str, Quantity] | None = None,
    zones: Drawn | None = None,
    unworkable: Drawn | None = None,
    setbacks: Drawn | None = None,
    setback_distance: Quantity | None = None,
    columns: Mapping[str, str] | None = None,
    settings: Settings | None = None,
    tasks: str | Sequence[str] = (),
    plan: str | Path | None = None,
    units: str | None = None,
    language: str | None = None,
    currency: str = "USD",
    pdf: bool = False,
    jobs: int = 1,
    progress: Callable[[str, int], None] = lambda _stage, _done: None,
    **options: Any,
) -> Audit:
    """Audit a season, or one field from a boundary and a log.

    Parameters
    ----------
    source : str, Path, Track, GeoDataFrame or a list of them; or Season
        A season file, ISO 11783-10 task data, or logs of the drive: files, tracks that were
        read, or frames (points are fixes, lines passes, polygons steps of one). Of a folder or
        zip with files of all kinds the season in it is used; without one it is gathered, and
        nothing is written there.
    boundary : file, geometry, GeoSeries or GeoDataFrame, optional
        A bare geometry is in longitude and latitude unless ``boundary_crs`` says otherwise.
        Without one, it is drawn around the worked ground.
    width, row_spacing : str or float, optional
        ``"20 ft"``, or metres.
    rows : int, optional
        Rows across the width.
    implement : Implement, optional
        In place of width and rows.
    products : str, Product, list of them or of Application, or mapping, optional
        With target rates: ``{"18-46-0": "150 lb/ac"}``, or kg/m2.
    prices : mapping of str to str or float, optional
        By product: ``{"18-46-0": "840 USD/ton"}``, or money per kg.
    zones, unworkable, setbacks : file, geometry, GeoSeries or GeoDataFrame, optional
        Zones to report amounts for, ground not to be worked, and what to keep off.
    setback_distance : str or float, optional
        ``"100 ft"``, or metres.
    columns : mapping of str to str, optional
        Role to column of the log, with an optional unit: ``{"flow": "mass [lb/s]"}``.
    settings : Settings, optional
        What may be tuned.
    tasks : str or list of str, optional
        Of task data take these alone, by id or name.
    plan : str or Path, optional
        ``plan.json`` of a plan of interseeding, to hold against what was done.
    units : str, optional
        Of the words and the report, ``"us"`` or ``"metric"``; figures are in SI all the same.
    language : str, optional
        Tag of that of the words: ``"es"``, ``"es_MX"``; the season's when None.
    currency : str
        Of the costs.
    pdf : bool
        Whether a folder that the result is written into gets PDFs to hand over.
    jobs : int
        Processes to share the operations among.
    progress : callable, optional
        Told the stage at work (str) and how many operations are done (int).
    **options
        Further options of ``evenacre audit``, with underscores: ``field_name``,
        ``operation_name``, ``date``, ``blockages``, ``time_zone``, ``tracks_crs``,
        ``tracks_layer``, ``boundary_crs``, ``rows_per_tower``, ``antenna_ahead``,
        ``hitch_to_axle`` (one or a list), ``tool_behind``, ``delay``, ``skip_min_width`` ...

    Returns
    -------
    Audit

    Raises
    ------
    InputError
        For everything that is wrong with arguments and files, each by name.

    Examples
    --------
    >>> a = ev.audit("log.csv", boundary="field.geojson", width="20 ft", rows=32,
    ...              products={"18-46-0": "150 lb/ac"})
    >>> a
    <Audit: field, 18-46-0: 1.99 ac of 2.01 ac covered.>
    """
    told = {**locals()}
    with about_arguments(**_CALLED, rate="products"), ExitStack() as stick:
        check_names(audit, options, _KEYS)
        season = _season("audit", source, told, stick)
        season = season if units is None else replace(season, units=unit_system(units).name)
        planned = None if plan is None else read_plan(Path(plan))
        with spoken(language or season.language):
            done = run_audit(
                season, planned=planned, jobs=jobs, draw=False, keep_tracks=True, progress=progress
            )
            return replace(done, pdf=pdf)


def measure(
    source: Source,
    boundary: Drawn | None = None,
    *,
    width: Quantity | None = None,
    rows: int | None = None,
    row_spacing: Quantity | None = None,
    implement: Implement | None = None,
    columns: Mapping[str, str] | None = None,
    units: str | None = None,
    language: str | None = None,
    say: Callable[[str], None] = lambda _operation: None,
    **options: Any,
) -> MeasuredDrill:
    """Tell what logs do of the drill: where the tool is, its delay, the spacing of the passes.

    Parameters
    ----------
    source : str, Path, Track, GeoDataFrame or a list of them; or Season
        A season file, ISO 11783-10 task data, or logs of the drive, as of :func:`audit`.
    boundary : file, geometry, GeoSeries or GeoDataFrame, optional
        Of the field, with logs.
    width, row_spacing : str or float, optional
        ``"20 ft"``, or metres.
    rows : int, optional
        Rows across the width.
    implement : Implement, optional
        In place of width and rows, and of what is known of the drill.
    columns : mapping of str to str, optional
        Role to column of the log, as of :func:`audit`.
    units : str, optional
        Of the words and pictures, ``"us"`` or ``"metric"``.
    language : str, optional
        Tag of that of the words: ``"es"``, ``"es_MX"``; the season's when None.
    say : callable, optional
        Told each operation (str) as it begins.
    **options
        What is known of the drill: ``antenna_ahead``, ``antenna_left``, ``axle_to_antenna``,
        ``hitch_to_axle``, ``tool_behind``, ``delay``; and further options as of :func:`audit`.

    Returns
    -------
    MeasuredDrill

    Raises
    ------
    InputError
        For everything that is wrong with arguments and files, each by name.

    Examples
    --------
    >>> drill = ev.measure("log.csv", boundary="field.geojson", width="20 ft").measured[0]
    >>> round(drill.of("width").value, 2)
    6.1
    """
    told = {**locals()}
    with about_arguments(**_CALLED):
        check_names(measure, options, _KEYS)
        season = _season("measure", source, told)
        with spoken(language or season.language):
            return run_measure(season, unit_system(units or season.units), say=say)


@overload
def plan_passes(field: Field, drive: Drive) -> PassPlan: ...


@overload
def plan_passes(
    field: Field | Drawn,
    drive: None = None,
    *,
    width: Quantity | None = None,
    heading: float | None = None,
    units: str | None = None,
    language: str | None = None,
    say: Callable[[str], None] = ...,
    **options: Any,
) -> PlannedPasses: ...


def plan_passes(
    field: Field | Drawn,
    drive: Drive | None = None,
    *,
    width: Quantity | None = None,
    heading: float | None = None,
    units: str | None = None,
    language: str | None = None,
    say: Callable[[str], None] = lambda _field: None,
    **options: Any,
) -> PlannedPasses | PassPlan:
    """Plan how fields are driven: heading, headland rounds, passes, turns and what they come to.

    Parameters
    ----------
    field : file, geometry, GeoSeries, GeoDataFrame or Field
        A season file, or the boundary of one field; a bare geometry is in longitude and
        latitude unless ``boundary_crs`` says otherwise.
    drive : Drive, optional
        With a `Field`: how it is driven, in SI units. The bare `PassPlan` is returned then.
    width : str or float, optional
        ``"20 ft"``, or metres; needed unless a season file has it.
    heading : float, optional
        Of the passes, degrees clockwise from north; the best is found without it.
    units : str, optional
        Of the words and maps, ``"us"`` or ``"metric"``.
    language : str, optional
        Tag of that of the words: ``"es"``, ``"es_MX"``; the season's when None.
    say : callable, optional
        Told each field (str) as it begins.
    **options
        Further options of ``evenacre passes``, with underscores: ``rounds``, ``speed``,
        ``turn_speed``, ``turn_radius``, ``prefer`` (``"turns"`` or ``"overlap"``), ``headland``
        (``"first"`` or ``"last"``), ``blocks``, ``fence``, ``tractor_length``, ``tractor_width``,
        and ``fields`` and ``implement`` by their names in a season file, or ``unworkable``,
        ``cross``, ``cross_width``, ``rows``, ``row_spacing``, ``field_name``, ``boundary_crs``,
        ``gate`` (latitude and longitude as text, a point, or a map), ``gate_width``,
        ``transport_width`` and ``along`` (a line that passes follow) of one field.

    Returns
    -------
    PlannedPasses
        Or a `PassPlan` where a `Drive` was given.

    Raises
    ------
    InputError
        For everything that is wrong with arguments and files, each by name.
    ValueError
        Where a `Drive` was given, but the field has no boundary.

    Notes
    -----
    Turns are the shortest of bounded curvature (Dubins, American Journal of Mathematics 79,
    1957). Field efficiency is the covered area over what the full width sweeps at working speed
    in the field time (ASABE EP496).

    Examples
    --------
    >>> import shapely
    >>> p = ev.plan_passes(shapely.box(-93.0, 40.0, -92.998, 40.001), width="20 ft")
    >>> p.passes.crs.to_epsg(), list(p.passes["kind"].unique())
    (4326, ['round', 'pass'])
    """
    with about_arguments(boundary="field"):
        if isinstance(field, Field) and drive is not None:
            from evenacre.planning.passes.plan import plan_passes as bare
            from evenacre.reports.sentences.findings import refusals_in_words

            with refusals_in_words():
                return bare(field, drive)
        of_season = ("fields", "implement")
        of_field = (
            *("unworkable", "cross", "cross_width", "rows", "row_spacing"),
            *("gate", "gate_width", "transport_width", "along"),
        )
        reading = (
            "field_name",
            *(n for n in _KEYS if n.startswith(("boundary_", "unworkable_", "cross_l", "along_"))),
        )
        check_names(plan_passes, options, (*_DRIVING, *of_season, *of_field, *reading))
        driving = {name: value for name, value in options.items() if name in _DRIVING}
        rest = {name: value for name, value in options.items() if name not in _DRIVING}
        wanted = given(width=width, heading=heading, **driving)
        if _is_season_file(field):
            check_names(plan_passes, rest, of_season)
            how = read_drive_options(wanted)
            ground = ground_of_season(Path(str(field)), width_m=how.width, **rest)
        else:
            check_names(plan_passes, rest, (*of_field, *reading))
            how = read_drive_options({**wanted, "width": None})
            ground = _one_field(field, given(width=width, **rest))
        system = unit_system(units or ground.units)
        with spoken(language or ground.language):
            return run_passes(fenced_as(ground, how), drive_over(ground, how), system, say=say)


def interseed(
    season: str | Path | Season,
    *,
    from_day: str | dt.date | None = None,
    in_cart: Quantity | None = None,
    units: str | None = None,
    language: str | None = None,
    jobs: int = 1,
    say: Callable[[str], None] = lambda _stage: None,
) -> Interseeding:
    """Plan which grazed paddock to seed when, behind the herd.

    Parameters
    ----------
    season : str, Path or Season
        A season file with paddocks and seeding; its own operations are looked at when
        ``from_day`` is given, and a `Season` has to be read with its logs then.
    from_day : str or date, optional
        Plan the rest of a season under way from then on: ``"2026-08-20"``, or ``"today"``. What
        operations in the paddocks seeded by their logs is done.
    in_cart : str or float, optional
        Seed in the cart when the plan begins: ``"40 lb"``, or kg; what the last ticket tells,
        without it.
    units : str, optional
        Of the words and the report, ``"us"`` or ``"metric"``.
    language : str, optional
        Tag of that of the words: ``"es"``, ``"es_MX"``; the season's when None.
    jobs : int
        Processes to share many paddocks among, for the passes over each. The plan is the same.
        They are started anew: a script asks for them under ``if __name__ == "__main__":``.
    say : callable, optional
        Told each stage (str) as it begins.

    Returns
    -------
    Interseeding

    Raises
    ------
    InputError
        With every complaint about the season at once.

    Examples
    --------
    >>> plan = ev.interseed("season.toml")
    >>> plan.paddocks[["paddock", "opens", "closes"]].iloc[0].tolist()
    ['West paddock', '2026-08-18', '2026-08-31']
    """
    with about_arguments():
        if not isinstance(season, Season):
            under_way = from_day is not None
            season = load_season(Path(season), logs=under_way, must_hold="seeding")
        elif season.grazing is None or season.seeding is None:
            what = "It says nothing of paddocks or of seeding."
            raise InputError.at("season", "", what, "Add paddocks, herd, grazing and seeding.")
        if units is not None:
            season = replace(season, units=unit_system(units).name)
        told = None if from_day == "today" else from_day
        begin = None if from_day is None else plan_begin(told, season.time_zone)
        held = None if in_cart is None else amount_in_cart(in_cart)
        with spoken(language or season.language):
            return run_interseeding(season, from_day=begin, in_cart_kg=held, jobs=jobs, say=say)


@overload
def finish(
    source: Source, boundary: Drawn | None = None, *, left: Quantity | None = None, **options: Any
) -> ComeOutEven: ...


@overload
def finish(*, area: Quantity, left: Quantity | None = None, **options: Any) -> ComeOutEven: ...


@overload
def finish(
    *, started: Quantity, done: Quantity, left: Quantity, area: None = None, **options: Any
) -> RateSoFar: ...


def finish(
    source: Source | None = None,
    boundary: Drawn | None = None,
    *,
    left: Quantity | None = None,
    left_error: Quantity | None = None,
    rate: Quantity | None = None,
    rate_min: Quantity | None = None,
    rate_max: Quantity | None = None,
    product: str | None = None,
    area: Quantity | None = None,
    area_error: Quantity | None = None,
    overlap: str | None = None,
    started: Quantity | None = None,
    done: Quantity | None = None,
    setting: str | float = "",
    full: Quantity | None = None,
    book: str | Path | None = None,
    operation: str | None = None,
    field: str | None = None,
    loads: str | Path | None = None,
    width: Quantity | None = None,
    rows: int | None = None,
    row_spacing: Quantity | None = None,
    unworkable: Drawn | None = None,
    columns: Mapping[str, str] | None = None,
    units: str | None = None,
    language: str | None = None,
    **options: Any,
) -> ComeOutEven | RateSoFar:
    """Find the rate that ends the load with the field, and where it runs out at this one.

    With ``started``, ``done`` and ``left`` alone: the rate so far and, where a ``rate`` is wanted,
    what that makes of the setting.

    Parameters
    ----------
    source : str, Path, Track, GeoDataFrame or a list of them; or Season
        A season file, task data, or logs of the drive so far; None with ``area`` or ``done``.
    boundary, unworkable : file, geometry, GeoSeries or GeoDataFrame, optional
        Of the field, with logs.
    left, left_error : str or float, optional
        Mass left and its standard uncertainty: ``"1400 lb"`` and ``"20 lb"`` or ``"1 %"`` (the
        usual), or kg; or ``"50 %"`` of ``started`` or of ``full``.
    rate, rate_min, rate_max : str or float, optional
        Present rate, and what is allowed: ``"150 lb/ac"``, or kg/m2. Without ``area``, ``rate``
        is the one wanted.
    product : str, optional
        Needed when there are several, and to find it in ``book``.
    area, area_error : str or float, optional
        Ground still to do, without logs, and its standard uncertainty: ``"18 ac"``, or m2.
    overlap : str, optional
        Ground driven twice, ``"3 %"`` (the usual).
    started, done : str or float, optional
        Mass in the cart when it began, and the ground done since, or kg and m2: they tell the
        present rate.
    setting : str or float, optional
        Of the meter now; the last one of the product in ``book``.
    full : str or float, optional
        What the cart holds.
    book : str or Path, optional
        A settings book that tells how the product was set before, with ``started`` and ``done``.
        None is read unasked.
    operation, field : str, optional
        Which operation of a season.
    loads : str or Path, optional
        Table of load tickets, in place of ``left``.
    width, rows, row_spacing, columns : optional
        With logs, as of :func:`audit`: ``"20 ft"`` or metres.
    units : str, optional
        Of the words and the map, ``"us"`` or ``"metric"``.
    language : str, optional
        Tag of that of the words: ``"es"``, ``"es_MX"``; the season's when None.
    **options
        ``time_zone``, ``tracks_crs``, ``tracks_layer``, ``boundary_crs`` and the like, as of
        :func:`audit`.

    Returns
    -------
    ComeOutEven or RateSoFar
        The latter where no ground still to do was given, in any way.

    Raises
    ------
    InputError
        For everything that is wrong with arguments and files, each by name.

    Examples
    --------
    >>> even = ev.finish(area="18 ac", left="1900 lb", rate="110 lb/ac")
    >>> print(even.lines[2])
    To come out even, put on 102 lb/ac (between 97.3 lb/ac and 108 lb/ac, 90 % sure).
    >>> float(even.figures.set_index("name").loc["even_rate", "value"].round(5))
    0.01149
    """
    told = {**locals(), "loads": loads and Path(loads), "setting": str(setting)}
    with about_arguments(**{**_CALLED, "product": "product"}):
        from evenacre.workflows.typed.finish_options import FinishOptions

        check_names(finish, options, _KEYS)
        known = [one.name for one in fields(FinishOptions)]
        asked = FinishOptions(**given(**{name: told[name] for name in known}))
        if asked.typed:
            if source is not None or boundary is not None:
                what = "It does not go with a season file, a boundary or tracks."
                name = "done" if area is None else "area"
                raise InputError.at(name, "", what, "Leave one of them out.")
            past = None if book is None or done is None else read_book(Path(book))
            known_settings = () if past is None else (past.settings, past.warnings)
            with spoken(language or ENGLISH):
                return typed_answer(asked, unit_system(units or "us"), *known_settings)
        if source is None:
            what = "It needs one season file, one set of task data, or logs."
            raise InputError.at("source", "", what, 'Give one, or area="18 ac".')
        if not isinstance(source, Season) and not _is_season_file(source):
            names = given(operation_name=operation, field_name=field)
            told |= {"products": product or (), "options": {**options, **names}}
        season = _season("finish", source, told)
        where = "source" if isinstance(source, Season) else Path(str(source)).name
        plan = chosen_operation(season, where, operation, field)
        with spoken(language or season.language):
            return finish_operation(plan, asked, unit_system(units or season.units))


def calibrate(
    *,
    product: str = "",
    catch: Quantity | Sequence[Quantity] = (),
    opener_catch: Sequence[str] = (),
    target: Quantity | None = None,
    setting: str | float = "",
    tolerance: float = 5.0,
    lookup: str | Path | None = None,
    units: str | None = None,
    language: str | None = None,
    **options: Any,
) -> MeterSetting:
    """Judge a stationary test of the meter and find the next setting.

    Parameters
    ----------
    product : str
        What was metered.
    catch : str, float or a list of them
        ``"10.2 10.4 10.3 lb"``, or kg.
    opener_catch : list of str
        Catches of the openers from the left, a text for each test: ``"22.6 22.4 22.0 g"``.
    target : str or float, optional
        Rate wanted: ``"110 lb/ac"``, or kg/m2.
    setting : str or float
        Of the meter in this test.
    tolerance : float
        Percent the rate may be off.
    lookup : str or Path, optional
        A settings book to ask for the nearest past settings, in place of a test.
    units : str, optional
        Of the words, ``"us"`` or ``"metric"``.
    language : str, optional
        Tag of that of the words: ``"es"``, ``"es_MX"``; the season's when None.
    **options
        The ground a catch stands for, in one way: ``area`` (or m2), ``turns`` with
        ``turns_per_area``, or ``turns`` with ``circumference`` or ``wheel_diameter`` (or m).
        And further options of ``evenacre calibrate``, with underscores: ``scale``, ``width``,
        ``rows``, ``row_spacing``, ``rows_per_tower``, ``openers``, ``tested``, ``beyond``,
        ``bulk_density``, ``fill``, ``compartment``, ``roller``, ``fan``, ``speed``,
        ``down_pressure``, ``trouble``, ``date``.

    Returns
    -------
    MeterSetting

    Raises
    ------
    InputError
        For everything that is wrong with arguments, each by name.

    Examples
    --------
    >>> test = ev.calibrate(product="18-46-0", setting=42, catch="10.2 10.4 10.3 lb",
    ...                     area="0.1 ac", target="110 lb/ac")
    >>> figures = test.figures.set_index(["subject", "name"])
    >>> float(figures.loc[("next_setting", "setting"), "value"].round(1))
    44.9
    """
    told = {**locals(), **options, "setting": str(setting)}
    with about_arguments(), spoken(language or ENGLISH):
        from evenacre.workflows.typed.calibrate_job import check_asked, read_options
        from evenacre.workflows.typed.calibrate_options import CalibrateOptions

        known = [field.name for field in fields(CalibrateOptions)]
        check_names(calibrate, options, known)
        asked = given(**{name: told[name] for name in known if name in told})
        for name in ("catch", "opener_catch", "tested", "fill", "compartment"):
            if name in asked:
                asked[name] = as_list(asked[name])
        job, notes = read_options(CalibrateOptions(**asked))
        check_asked(job, None, lookup=lookup is not None, no_book=True)
        past = read_book(Path(lookup)) if lookup is not None else None
        found = worked_out(job, past.settings if past else None)
        warnings = past.warnings if past else ()
        return MeterSetting(found, unit_system(units or "us"), notes, warnings)


def _is_season_file(source: Any) -> bool:
    return isinstance(source, str | Path) and Path(source).suffix.lower() == ".toml"


def _season(
    call: str, source: Source, told: Mapping[str, Any], stick: ExitStack | None = None
) -> Season:
    """Make a season of a call's arguments, by name, checked as those of the command line are.

    What a folder or zip holds is gathered for as long as ``stick`` is open; None: it is not.
    """
    single = {name: told.get(name) for name in _SINGLE}
    single = given(**single, column=told["columns"], **told["options"])
    implement, settings = told.get("implement"), told.get("settings")
    currency = told.get("currency", "USD")
    for name in ("boundary_crs", "tracks_crs"):
        single |= given(**{name: crs_text(single.get(name))})
    texts, whole = product_texts(told.get("products", ()), told.get("prices"), currency)
    maps = {name: told.get(name) for name in _MAPS}
    options = {**_maps_at_hand(maps, single.get("boundary_crs")), **single, **texts}
    tasks = as_list(told.get("tasks") or [])
    path = Path(source) if isinstance(source, str | Path) else None
    set_of_tasks = path if path and is_taskdata(path) else None
    if tasks and set_of_tasks is None:
        what, remedy = "It chooses tasks of task data, which this is not.", "Leave it out."
        raise InputError.at(call, "tasks", what, remedy)
    if isinstance(source, Season) or _is_season_file(source):
        if used := [*given(**options, implement=implement, settings=settings)]:
            at = call if isinstance(source, Season) else Path(str(source))
            what = f"A season file does not go with {used[0]}."
            raise InputError.at(at, "", what, "Put it into the file.")
        return source if isinstance(source, Season) else load_season(Path(str(source)))
    if implement is not None:
        options["width"] = f"{implement.width_m!r} m"
    options["currency"] = currency
    for name in ("hitch_to_axle", "boundary_where", "blockages"):
        if name in options:
            options[name] = as_list(options[name])
    tracks: tuple[Track, ...] = ()
    inputs: list[InputFile] = []
    of_many = {n: o for n, o in options.items() if n not in ("currency", "held")}
    if stick and path and not tasks and is_to_be_gathered(path, of_many):
        season = stick.enter_context(gathered_season(path, of_many))
    elif set_of_tasks is not None:
        season = season_from_taskdata(set_of_tasks, tasks=tasks, **options)
    else:
        pairs = (pair.partition("=") for pair in single.get("column", ()))
        columns = {role: column for role, _, column in pairs}
        system, zone = single.get("tracks_crs"), single.get("time_zone")
        files, tracks, inputs = read_logs(source, columns, system, zone)
        season = season_from_options(tracks=files, logs=not tracks, **options)
    plans = tuple(
        replace(
            plan,
            tracks=tracks,
            implement=implement or plan.implement,
            settings=settings or plan.settings,
            applications=tuple(
                replace(a, product=whole.get(a.product.name, a.product)) for a in plan.applications
            ),
        )
        for plan in season.operations
    )
    return replace(
        season,
        operations=plans,
        products=tuple(whole.get(product.name, product) for product in season.products),
        inputs=(*season.inputs, *inputs),
    )


def _maps_at_hand(maps: Mapping[str, Drawn | None], crs: Any) -> dict[str, Any]:
    """Options for maps; what is at hand gets a name that stands for its file."""
    options: dict[str, Any] = {}
    held: dict[str, Any] = {}
    for name, drawn in maps.items():
        if drawn is None:
            continue
        options[name] = drawn
        frame = frame_of(name, drawn, crs if name == "boundary" else None)
        if frame is not None:
            options[name] = stand_in(name, drawn)
            held[options[name]] = frame
            if name == "boundary":
                names = set(names_of(frame, NAME_COLUMNS))
                options["field_name"] = (names.pop() if len(names) == 1 else "") or "field"
    return {**options, "held": held} if held else options


def _one_field(field: Field | Drawn, options: dict[str, Any]) -> Ground:
    """One field to plan passes on."""
    drawn = field.boundary if isinstance(field, Field) else field
    if drawn is None:
        what, remedy = "It has no boundary.", "Passes are planned inside one: give it."
        raise InputError.at("field", "", what, remedy)
    maps = {
        "boundary": drawn,
        **{name: options.pop(name, None) for name in ("unworkable", "cross", "along")},
    }
    if isinstance(gate := options.get("gate"), Point):
        options["gate"] = f"{gate.y!r}, {gate.x!r}"
    crs = crs_text(options.pop("boundary_crs", None))
    ground = ground_of_options(**_maps_at_hand(maps, crs), **given(boundary_crs=crs), **options)
    return replace(ground, fields=(field,)) if isinstance(field, Field) else ground
