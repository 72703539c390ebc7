"""Tracks from the sentences of a satellite receiver (NMEA 0183, IEC 61162-1)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pyarrow as pa

from evenacre.errors import InputError
from evenacre.io.common.findings import Findings
from evenacre.io.common.fix_quality import position_sigma_m, report_quality
from evenacre.io.common.years import read_day
from evenacre.io.logs.build_tracks import build_tracks
from evenacre.io.logs.columns.clock import Clock
from evenacre.io.logs.columns.column_roles import ColumnPlan, ColumnUse
from evenacre.io.logs.columns.positions import checked_degrees
from evenacre.io.logs.formats.nmea.epochs import Epochs, join_epochs
from evenacre.io.logs.formats.nmea.sentences import Scan, scan_sentences
from evenacre.io.tables.record_table import RecordTable
from evenacre.io.untrusted import budget
from evenacre.io.untrusted.files import narrowed, read_whole
from evenacre.language import tr, trn
from evenacre.model import Track

# Places written more coarsely than this are worth a word.
_COARSE_M = 0.05


def read_nmea_tracks(path: Path, columns: Mapping[str, str], time_zone: str | None) -> list[Track]:
    """Read the fixes of a receiver's log, whatever stands between its sentences.

    GGA, GNS, RMC, VTG, ZDA and GST are used. Such a log tells no work state; its times are UTC, in
    which ``columns`` may give the day of one that tells none: ``{"date": "2026-04-14"}``.
    """
    findings = Findings()
    day = _asked_day(columns, path.name, findings)
    content = narrowed(read_whole(path))
    budget.check_count(content, b"$", 2 * budget.RECORDS, path.name)
    scan = scan_sentences(content)
    epochs = join_epochs(scan.kinds, day)
    _report_scan(path.name, scan, findings)
    _require_fixes(path.name, scan, epochs)
    _report_epochs(path.name, epochs, findings)
    lon, lat = checked_degrees(epochs.lon, epochs.lat, path.name, "sentences", findings)
    placed = np.isfinite(lon)
    report_quality(path.name, epochs.quality[placed], findings)
    table = RecordTable(
        path.name,
        pa.table(
            {
                "speed": pa.array(epochs.speed_mps, from_pandas=True),
                "course": pa.array(epochs.course_rad, from_pandas=True),
            }
        ),
        lambda row: f"fix {row + 1:,}",
    )
    plan = ColumnPlan(
        tuple(
            ColumnUse(role, "", name, 1.0, asked=True)
            for role, name in (("speed", "speed"), ("heading", "course"))
            if not table.is_empty(name)
        )
    )
    clock = Clock(epochs.time_s, epochs.dated)
    tracks = build_tracks(table, lon, lat, plan, time_zone, findings, clock=clock)
    # Rounding to the last written digit is even over one step of it.
    told = position_sigma_m(epochs.quality, epochs.hdop)
    told = np.where(np.isfinite(epochs.sigma_m), epochs.sigma_m, told)
    sigma = np.hypot(told, epochs.step_m / np.sqrt(12.0))
    return [replace(track, sigma_m=np.where(placed, sigma, np.nan)) for track in tracks]


def _asked_day(columns: Mapping[str, str], file: str, findings: Findings) -> date | None:
    other = [role for role in columns if role != "date"]
    if other:
        findings.warn(
            tr(
                "{file}: a receiver's sentences have no columns, so what was said of {names} "
                "is not used.",
                file=file,
                names=", ".join(other),
            )
        )
    text = columns.get("date", "").strip()
    if not text:
        return None
    try:
        return read_day(text)
    except ValueError as error:
        raise InputError.at(
            file,
            tr("columns, date"),
            str(error),
            tr('A receiver\'s log takes its day here: write it as "2026-04-14".'),
        ) from None


def _report_scan(file: str, scan: Scan, findings: Findings) -> None:
    talkers = {
        chr(code // 256) + chr(code % 256)
        for sentences in scan.kinds.values()
        for code in np.unique(sentences.talker)
    }
    found = [f"{len(s):,} {kind}" for kind, s in scan.kinds.items() if len(s)]
    if found:
        findings.note(
            tr(
                "{file}: a receiver's log with {names} (talker {names_2}); its times are UTC.",
                file=file,
                names=", ".join(found),
                names_2=", ".join(sorted(talkers)),
            )
        )
    if scan.damaged:
        findings.warn(
            tr(
                "{file}: left out {sentences} cut off or garbled (the checksum shows it).",
                file=file,
                sentences=trn("{count:,} sentence", "{count:,} sentences", scan.damaged),
            )
        )
    if scan.unchecked:
        findings.warn(
            tr(
                "{file}: its sentences carry no checksums, so damage to them cannot be seen.",
                file=file,
            )
        )


def _require_fixes(file: str, scan: Scan, epochs: Epochs) -> None:
    if len(epochs) == 0 and scan.damaged:
        raise InputError.at(
            file,
            "",
            tr(
                "none of its {sentences} of position is whole.",
                sentences=trn("{count:,} sentence", "{count:,} sentences", scan.damaged),
            ),
            tr("Copy the log from the receiver again."),
        )
    if len(epochs) == 0:
        raise InputError.at(
            file,
            "",
            tr("it holds no sentence with a time and a place (GGA, GNS or RMC)."),
            tr("Let the receiver log GGA and RMC."),
        )
    if not np.isfinite(epochs.lon).any():
        raise InputError.at(
            file,
            "",
            tr("the receiver never had a fix."),
            tr("Check its antenna, or give another log."),
        )


def _report_epochs(file: str, epochs: Epochs, findings: Findings) -> None:
    if epochs.untimed:
        findings.warn(
            tr(
                "{file}: left out {sentences} without a time.",
                file=file,
                sentences=trn("{count:,} sentence", "{count:,} sentences", epochs.untimed),
            )
        )
    if epochs.refused:
        findings.warn(
            tr(
                "{file}: left out {positions} that the receiver itself calls no fix.",
                file=file,
                positions=trn("{count:,} position", "{count:,} positions", epochs.refused),
            )
        )
    if epochs.apart:
        findings.warn(
            tr(
                "{file}: at {times} its sentences tell places more than a metre apart, as if "
                "two receivers wrote into one log; the first sentence is used.",
                file=file,
                times=trn("{count:,} time", "{count:,} times", epochs.apart),
            )
        )
    if not epochs.dated:
        findings.note(
            tr(
                "{file}: it tells no date (no RMC or ZDA), so times count from midnight UTC. "
                "To give one, use --column date=2026-04-14.",
                file=file,
            )
        )
    step = float(np.median(epochs.step_m[np.isfinite(epochs.lon)]))
    if step > _COARSE_M:
        findings.warn(
            tr(
                "{file}: positions are written to {step:.0f} cm only, so skips and overlaps "
                "narrower than that may not be real.",
                file=file,
                step=step * 100,
            )
        )
