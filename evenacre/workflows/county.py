"""Many farms at once: a task for each operation, on a cluster, and one data set of them all."""

from __future__ import annotations

import importlib.util
import logging
import uuid
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from functools import lru_cache
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pandas as pd

from evenacre.errors import InputError
from evenacre.io.farms.data_set import INDEX, check_place, partition, write_index, write_part
from evenacre.io.farms.places import AtHand, FarmPlace, at_hand, farms_at
from evenacre.io.season.load import load_season, read_toml
from evenacre.io.writers.file_names import unique_slugs
from evenacre.language import tr, trn
from evenacre.model import OperationPlan, Season
from evenacre.model.audit_result import AuditResult
from evenacre.reports.maps.stored_layers import operation_layers
from evenacre.reports.tables.accounts import summary
from evenacre.workflows.gather import gathered_season
from evenacre.workflows.operations import computed

if TYPE_CHECKING:
    from distributed import Client, Future

LAYERS = ("cover", "skips")
"""Layers that the data set has, beside the tables of jobs and products."""

_SHARES = 3  # of a task: how often a worker may be lost under it before the farm counts as failed
_SEASONS = 4  # kept on a worker for the next task; the work comes farm by farm
_AT_ONCE = 64  # tasks a worker has ahead of it: what is done is written and let go of
_WITH_INTERVAL = "interval_90"


@dataclass(frozen=True)
class CountyJob:
    """A row of the index.

    Attributes
    ----------
    place, number : str and int
        The farm, as what was given names it, and which of its operations.
    farm, field, operation, date, year : str
        By the names of the season.
    part : str
        File of its figures in the data set; empty where it failed.
    covered_area_m2, skip_area_m2, overlap_area_m2 : float or None
    problem : str
        Why it failed.
    """

    place: str
    number: int
    farm: str = ""
    field: str = ""
    operation: str = ""
    date: str = ""
    year: str = ""
    part: str = ""
    covered_area_m2: float | None = None
    skip_area_m2: float | None = None
    overlap_area_m2: float | None = None
    problem: str = ""


@dataclass(frozen=True)
class County:
    """What came of it: every job, in the order of farms and operations.

    Examples
    --------
    >>> County((CountyJob("north", 0, part="jobs/a.parquet"),)).lines[0]
    '1 job of 1 farm audited.'
    """

    jobs: tuple[CountyJob, ...]

    @property
    def failed(self) -> tuple[CountyJob, ...]:
        """Jobs, and farms as a whole, that could not be audited."""
        return tuple(job for job in self.jobs if job.problem)

    @property
    def lines(self) -> tuple[str, ...]:
        """What to say of it."""
        done = [job for job in self.jobs if job.part]
        farms = {job.place for job in done}
        first = tr(
            "{jobs} of {farms} audited.",
            jobs=trn("{count:,} job", "{count:,} jobs", len(done)),
            farms=trn("{count:,} farm", "{count:,} farms", len(farms)),
        )
        failed = (
            tr("failed: {place}: {problem}", place=job.place, problem=job.problem)
            for job in self.failed
        )
        return (first, *failed)

    @property
    def summary(self) -> dict[str, Any]:
        """The rows of the index."""
        return {"jobs": [asdict(job) for job in self.jobs]}


def audit_county(
    farms: str,
    out: str,
    *,
    cluster: str | None = None,
    workers: int = 2,
    results: bool = False,
    progress: Callable[[str, int, int], None] = lambda _stage, _done, _all: None,
) -> County:
    """Audit all operations of many farms into one data set.

    Each figure is that of an audit of the farm alone, to the last bit. A farm that fails is told
    in the index and stands in nobody's way; a worker that is lost is done without.

    Parameters
    ----------
    farms : str
        Folder, season file or list, by path or URL; see `farms_at`.
    out : str
        Folder for the data set, by path or URL, that workers and this process can both write to.
    cluster : str, optional
        Address of a dask scheduler; a cluster of ``workers`` processes here is started without.
    results : bool
        Write each farm's own result folder too, below ``farms/``; ``out`` is a local folder then.
    progress : callable, optional
        Told the stage, how many tasks of it are done, and of how many.

    Raises
    ------
    InputError
        When no farm is found, ``out`` holds something, or dask is not installed.
    """
    _check_installed()
    places = farms_at(farms)
    check_place(out)
    names = unique_slugs(place.name for place in places)
    with _client(cluster, workers) as client:
        ahead = _AT_ONCE * max(len(client.scheduler_info()["workers"]), 1)
        rows: dict[tuple[str, int], CountyJob] = {}
        jobs_of: dict[FarmPlace, int] = {}
        counting = ((place, (place,)) for place in places)
        for done, (place, found) in enumerate(_done(client, _count, counting, ahead), 1):
            jobs_of[place] = found if isinstance(found, int) else 1
            progress(tr("reading the seasons"), done, len(places))
        slug_of = dict(zip((place.name for place in places), names, strict=True))
        run = uuid.uuid4().hex
        tasks = (
            ((place, number), (place, slug_of[place.name], number, out, run))
            for place in places
            for number in range(jobs_of[place])
        )
        every = sum(jobs_of.values())
        for done, ((place, number), found) in enumerate(_done(client, _audit, tasks, ahead), 1):
            told = found
            if isinstance(found, str):
                told = [CountyJob(place.name, number, problem=found)]
            rows |= {(job.place, job.number): job for job in told}
            progress(tr("auditing"), done, every)
        if results:
            whole = ((p, (p, str(Path(out, "farms", slug_of[p.name])), run)) for p in places)
            for done, (place, found) in enumerate(_done(client, _whole, whole, ahead), 1):
                if isinstance(found, str):
                    first = rows[place.name, 0]
                    rows[place.name, 0] = replace(first, problem=first.problem or found)
                progress(tr("writing results"), done, len(places))
    county = County(tuple(rows[key] for key in sorted(rows)))
    write_index(out, county.summary["jobs"], list(CountyJob.__dataclass_fields__))
    return county


def _check_installed() -> None:
    if importlib.util.find_spec("distributed") is None:
        what = "dask's distributed, which shares out the work, is not installed: it comes with the "
        remedy = "Install it by `python -m pip install distributed`, and run this again."
        raise InputError.at("county", "", f'{what}extra "cluster".', remedy)


@contextmanager
def _client(address: str | None, workers: int) -> Iterator[Client]:
    import dask
    from distributed import Client, LocalCluster

    # A task on which workers die one after the other is at fault itself. Profiles of what workers
    # do, second by second, would come to hundreds of megabytes in an hour.
    dask.config.set(
        {
            "distributed.scheduler.allowed-failures": _SHARES,
            "distributed.worker.profile.enabled": False,
        }
    )
    if address is not None:
        try:
            with Client(address, timeout="20s") as client:
                yield client
        except (OSError, ValueError) as error:
            what = f"No scheduler answers there: {error}."
            remedy = "Start one with `dask scheduler`, and give its address (tcp://HOST:8786)."
            raise InputError.at(address, "", what, remedy) from None
        return
    with (
        LocalCluster(
            n_workers=workers,
            threads_per_worker=1,
            processes=True,
            dashboard_address="127.0.0.1:0",
            silence_logs=logging.CRITICAL,  # a worker that is lost is no news to a person
        ) as here,
        Client(here) as client,
    ):
        yield client


def _done(
    client: Client,
    function: Callable[..., Any],
    tasks: Iterator[tuple[Any, tuple[Any, ...]]],
    ahead: int,
) -> Iterator[tuple[Any, Any]]:
    """What comes of tasks, in the order in which they end; so many are under way at most.

    Each is a key and the arguments of the function. One that fails gives what is to be told of it.
    """
    from distributed import as_completed

    about: dict[Future[Any], Any] = {}
    ended = as_completed(with_results=True, raise_errors=False)

    def submit(count: int) -> None:
        some = list(islice(tasks, count))
        if some:
            keys, arguments = zip(*some, strict=True)
            futures = client.map(function, *zip(*arguments, strict=True), pure=False, retries=1)
            about.update(zip(futures, keys, strict=True))
            ended.update(futures)

    submit(ahead)
    for batch in ended.batches():
        for future, found in batch:
            key = about.pop(future)
            if future.status != "finished":
                _, error, _ = found
                found = f"{type(error).__name__}: {error}"
            future.release()
            yield key, found
        submit(len(batch))


def _count(place: FarmPlace) -> int:
    """How many tasks a farm is; one if its season cannot be read, or has to be gathered."""
    if not place.season:
        return 1
    try:
        told = read_toml(at_hand(place, whole=False).path).get("operation")
    except InputError:
        return 1
    return len(told) if isinstance(told, list) and told else 1


@lru_cache(maxsize=_SEASONS)
def _loaded(place: FarmPlace, _run: str) -> tuple[Season, AtHand]:
    """Season of a farm, and its files, which stay as long as this is held."""
    here = at_hand(place)
    return load_season(here.path), here


@contextmanager
def _season(place: FarmPlace, run: str) -> Iterator[Season]:
    if place.season:
        season, _here = _loaded(place, run)
        yield season
    else:
        here = at_hand(place)
        with gathered_season(here.path, {}) as season:
            yield season


def _audit(place: FarmPlace, slug: str, number: int, out: str, run: str) -> list[CountyJob]:
    """Audit one operation, or all of a farm whose season has to be gathered, and write it."""
    try:
        with _season(place, run) as season:
            told = []
            for n in [number] if place.season else range(len(season.operations)):
                plan = season.operations[n]
                try:
                    _, result, _ = computed(plan)
                except InputError as error:
                    told.append(_named(place, n, season, plan, problem=str(error)))
                    continue
                told.append(_stored(place, slug, n, season, plan, result, out))
            return told
    except InputError as error:  # of the farm as a whole: told once, whichever of its tasks says it
        return [CountyJob(place.name, 0, problem=str(error))]


def _named(place: FarmPlace, n: int, season: Season, plan: OperationPlan, **more: Any) -> CountyJob:
    return CountyJob(place.name, n, season.farm, plan.field.name, plan.name, **more)


def _stored(
    place: FarmPlace,
    slug: str,
    n: int,
    season: Season,
    plan: OperationPlan,
    result: AuditResult,
    out: str,
) -> CountyJob:
    account = summary([result], farm=season.farm, inputs=(), warnings=(), generated="")
    figures = account["operations"][0]
    year = result.date[:4] or "undated"
    about = {"place": place.name, "farm_name": season.farm, "number": n}
    about |= {"field": result.field, "operation": result.operation, "date": result.date}
    layers = operation_layers(result, ("fields", *LAYERS))
    outline = layers["fields"].geometry
    name = f"{n:04d}"
    job = gpd.GeoDataFrame([{**about, **_flat(figures)}], geometry=[outline.union_all()], crs=4326)
    parts = {"jobs": job}
    products = [{**about, **_flat(product)} for product in figures["products"]]
    if products:
        parts["products"] = pd.DataFrame(products)
    for layer in LAYERS:
        frame = layers[layer]
        if len(frame):
            parts[layer] = frame.drop(columns=["field", "operation"]).assign(**about)
    for table, frame in parts.items():
        write_part(out, partition(table, slug, year, name), frame)
    areas = {key: figures[key] for key in CountyJob.__dataclass_fields__ if key.endswith("_m2")}
    where = partition("jobs", slug, year, name)
    return _named(place, n, season, plan, date=result.date, year=year, part=where, **areas)


def _flat(figures: Mapping[str, Any]) -> dict[str, Any]:
    """Figures that are one value, and the ends of their 90 % intervals."""
    flat = {k: v for k, v in figures.items() if isinstance(v, str | bool | int | float)}
    for key, ends in (figures.get(_WITH_INTERVAL) or {}).items():
        flat |= {f"{key}_low_90": ends[0], f"{key}_high_90": ends[1]}
    return flat


def _whole(place: FarmPlace, out: str, run: str) -> str | None:
    """Write a farm's own result folder."""
    from evenacre.workflows.audit import audit_season

    try:
        with _season(place, run) as season:
            audit_season(season, Path(out))
    except InputError as error:
        return str(error)
    return None


__all__ = ["INDEX", "LAYERS", "County", "CountyJob", "audit_county"]
