"""Logs of receivers as they come, and spoilt: a drive or a clear error, never a fault."""

from __future__ import annotations

import random
from functools import reduce
from pathlib import Path

import numpy as np
import pytest

from evenacre.coverage.audit import audit_operation
from evenacre.errors import InputError
from evenacre.io.logs.read_tracks import read_tracks
from evenacre.model import Field, Implement, Operation

REAL = Path(__file__).parents[2] / "shared/data/real"
MUTATIONS = 120
AUDITED = 4  # one in so many

# Standing still, driving off and standing again, with a second receiver beside.
_VALUES = (b"", b"0", b"-1", b"999999.99", b"nan", b"1e300", b"2400", b"9000.0000", b"310280", b"V")


def sentence(body: str) -> bytes:
    """Body of a sentence with its checksum."""
    return f"${body}*{reduce(lambda x, c: x ^ ord(c), body, 0):02X}\r\n".encode()


def receiver_log(moving: bool) -> bytes:
    """Five minutes of a receiver that stands, or drives off, with binary between its sentences."""
    noise = random.Random(1)
    out = []
    for i in range(300):
        lat = 10 + (max(0, min(i - 60, 180)) * 1e-3 if moving else 0.0)
        clock = f"12{i // 60:02d}{i % 60:02d}.00"
        place = f"40{lat:09.6f},N,09330.000000,W"
        out += [
            sentence(f"GNGGA,{clock},{place},4,12,0.8,200.0,M,-30.0,M,1.0,0001"),
            sentence(f"GPRMC,{clock},A,{place},4.7,0.0,140426,,,R"),
        ]
        if i % 7 == 0:
            out.append(b"\xb5b" + bytes(noise.randrange(256) for _ in range(20)))
    return b"".join(out)


def spoilt(log: bytes, other: bytes, dice: random.Random) -> bytes:
    """Drop, double, shuffle and cut lines, flip bytes, sign false values, mix in another log."""
    lines = log.splitlines(keepends=True)
    start = dice.randrange(len(lines))
    lines = lines[start : start + dice.choice([2, 5, 30, 300])]
    for _ in range(dice.choice([1, 2, 4])):
        at, kind = dice.randrange(len(lines)), dice.randrange(8)
        if kind == 0 and len(lines) > 1:
            del lines[at]
        elif kind == 1:
            lines += lines
        elif kind == 2:
            dice.shuffle(lines)
        elif kind == 3:
            lines[at] = lines[at][: dice.randrange(len(lines[at]) + 1)]
        elif kind == 4:
            lines[at] = lines[at][:9] + dice.randbytes(30) + lines[at][9:]
        elif kind == 5:
            lines[at] = lines[at].replace(b",", dice.randbytes(1), 1)
        elif kind == 6:
            field, value = dice.randrange(1, 12), dice.choice(_VALUES)
            lines = [signed_anew(line, field, value) for line in lines]
        else:
            lines = [x for pair in zip(lines, other.splitlines(True), strict=False) for x in pair]
        lines = lines or [b""]
    return b"".join(lines)


def signed_anew(line: bytes, field: int, value: bytes) -> bytes:
    """The same sentence with another value in one field, and a checksum that holds."""
    fields = line[1 : line.rfind(b"*")].split(b",")
    if not line.startswith(b"$") or field >= len(fields):
        return line
    fields[field] = value
    return sentence(b",".join(fields).decode("latin-1"))


def outcome(file: Path, audited: bool) -> str:
    """Read and audit a log; anything but a result or an error of input is a fault."""
    try:
        tracks = tuple(read_tracks(file))
        assert all(np.isfinite(t.time_s).all() for t in tracks)
        if audited:
            audit_operation(Operation("drive", Field("f", None), Implement(6.096), tracks))
    except InputError:
        return "error"
    return "audited" if audited else "read"


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
def test_spoilt_logs_of_receivers_never_end_in_a_fault(tmp_path: Path) -> None:
    logs = [receiver_log(moving=True), receiver_log(moving=False)]
    logs += [file.read_bytes()[:40_000] for file in sorted(REAL.glob("receiver_*.nmea"))]
    dice, seen = random.Random(7), set()
    for number in range(MUTATIONS):
        log, other = dice.sample(logs, 2)
        file = tmp_path / "log.nmea"
        file.write_bytes(spoilt(log, other, dice))
        seen.add(outcome(file, number % AUDITED == 0))
    assert seen == {"error", "audited", "read"}


def test_a_receiver_that_stands_is_told_so_and_one_that_drives_is_audited(tmp_path: Path) -> None:
    file = tmp_path / "log.nmea"
    file.write_bytes(receiver_log(moving=False))
    (track,) = read_tracks(file)
    with pytest.raises(InputError) as caught:
        audit_operation(Operation("drive", Field("f", None), Implement(6.0), (track,)))
    assert getattr(caught.value, "code", "") in ("no_ground", "no_work")
    file.write_bytes(receiver_log(moving=True))
    result = audit_operation(
        Operation("drive", Field("f", None), Implement(6.0), tuple(read_tracks(file)))
    )
    driven_m = 180 * 1e-3 * 1852  # a minute of latitude is about a nautical mile
    assert result.covered_area_m2 == pytest.approx(6.0 * driven_m, rel=0.02)


@pytest.mark.skipif(not REAL.exists(), reason="no real files here")
@pytest.mark.parametrize("number", range(1, 9))
def test_real_receivers(number: int) -> None:
    file = REAL / f"receiver_{number}.nmea"
    assert outcome(file, audited=True) in ("error", "audited")
    if number == 3:  # the one that moves
        assert outcome(file, audited=True) == "audited"
