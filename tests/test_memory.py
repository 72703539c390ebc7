"""Work in blocks shows in no figure, and what is no longer needed of a drive is let go."""

import gc
import weakref
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from jobs import straight_job
from put_down import operation
from small_farm import write_small_farm

from evenacre.coverage import drive, smooth, steps, swath, thinning
from evenacre.coverage.audit import audit_operation
from evenacre.coverage.field_plane import plane_for
from evenacre.coverage.rows import with_rows
from evenacre.coverage.uncertainty import normal_draws
from evenacre.io.season.load import load_season
from evenacre.model import Operation
from evenacre.model.audit_result import AuditResult
from evenacre.workflows import audit
from evenacre.workflows.audit import Audit, audit_season


def job() -> Operation:
    return operation(straight_job(120.0, (0.0, -0.3, 0.5)), jitter_m=0.02)


def told(result: AuditResult) -> dict[str, Any]:
    """All that hangs on the order of the arithmetic."""
    layers = {
        f"{name}.{column}": frame[column].tolist()
        for name, frame in result.layers.items()
        for column in frame.drop(columns=frame.geometry.name)
    }
    shapes = {name: frame.geometry.to_wkb().tolist() for name, frame in result.layers.items()}
    areas = {key: value for key, value in vars(result).items() if key.endswith("_m2")}
    return {**layers, **shapes, **areas, **result.interval_90, **result.uncertainty}


def test_blocks_of_any_size_give_the_same_bits(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = told(audit_operation(job()))
    for module in (smooth, steps, swath, thinning, normal_draws):
        monkeypatch.setattr(module, "_BLOCK", 37)
    parted = told(audit_operation(job()))
    assert whole.keys() == parted.keys()
    np.testing.assert_equal(parted, whole)


def test_records_and_strips_are_let_go_once_their_steps_are_known(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    held: list[weakref.ref[object]] = []

    def watched(name: str, part: Callable[[Any], object]) -> None:
        made = getattr(drive, name)

        def make(*args: Any, **kwargs: Any) -> Any:
            found = made(*args, **kwargs)
            held.append(weakref.ref(part(found)))
            return found

        monkeypatch.setattr(drive, name, make)

    watched("follow", lambda legs: legs.fixes)
    watched("build_strips", lambda strips: strips.quad)
    log = job()
    plane = plane_for(log.field, log.tracks)
    tool = with_rows(log.implement, log.tracks)
    work = drive.Drive(log, tool, (), plane, plane.project(log.field.boundary), lambda _stage: None)
    gc.collect()
    assert len(held) == 2
    assert not [one() for one in held if one() is not None]
    assert work.records.counts["used"] > 100


@pytest.mark.parametrize("count", [1, 2])
def test_a_season_keeps_no_raster_drawing_or_drive_of_a_job_that_is_done(
    count: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1700000000")
    write_small_farm(tmp_path)
    kept: list[Audit] = []
    made = audit.run_audit

    def run(*args: Any, **kwargs: Any) -> Audit:
        kept.append(made(*args, **kwargs))
        return kept[-1]

    told = (tmp_path / "season.toml").read_text()
    first = told[told.index("[[operation]]") : told.index("[paddocks]")]
    again = first.replace("Spring fertilizer", "Again")
    (tmp_path / "season.toml").write_text(
        told.replace(first, first + again if count > 1 else first)
    )
    season = load_season(tmp_path / "season.toml")
    audit_season(season, tmp_path / "as-it-came")
    with monkeypatch.context() as patched:
        patched.setattr(audit, "run_audit", run)
        audit_season(season, tmp_path / "watched")
        for result in kept[0].operations:
            assert not result.cover_grid.values.size
            assert not any(product.rate.values.size for product in result.products)
            assert result.drive is None
            assert not any(len(product.rate_ground) for product in result.products)
            assert not any(len(result.layers[name]) for name in ("swaths", "cover", "overlaps"))
        assert not any(one.rendered.maps for one in kept[0].audited if one.rendered)
        patched.setattr(audit, "_LaidDown", lambda _stage, _only: None)
        audit_season(season, tmp_path / "at-the-end")
    came, end = tmp_path / "as-it-came", tmp_path / "at-the-end"
    files = sorted(path.relative_to(came) for path in came.rglob("*") if path.is_file())
    assert [path.suffix for path in files].count(".tif") > 1
    assert files == sorted(path.relative_to(end) for path in end.rglob("*") if path.is_file())
    differ = [name for name in files if (came / name).read_bytes() != (end / name).read_bytes()]
    assert not differ
