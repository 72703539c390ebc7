"""Entries kept from run to run, and the plain form of what is in them."""

from __future__ import annotations

import math
import os
import pickle
import subprocess
import sys
import textwrap
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from affine import Affine
from geopandas.testing import assert_geodataframe_equal
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS

from evenacre.io.cache.entries import KeptEntries
from evenacre.io.cache.plain_form import NotPlainError, pack, unpack


@pytest.fixture
def kept(tmp_path: Path) -> KeptEntries:
    return KeptEntries(tmp_path)


def test_an_entry_comes_back_under_its_name_alone(kept: KeptEntries) -> None:
    assert kept.get("a") is None
    kept.put("a", b"first")
    kept.put("b", b"")
    kept.put("a", b"second")
    assert (kept.get("a"), kept.get("b"), kept.get("c")) == (b"second", b"", None)
    (kept.folder / "a.kept").rename(kept.folder / "c.kept")
    assert kept.get("c") is None
    assert (kept.folder / "b.kept").stat().st_mode & 0o777 == 0o600


def test_no_damage_goes_unseen(kept: KeptEntries) -> None:
    kept.put("a", b"some data")
    path = kept.folder / "a.kept"
    whole = path.read_bytes()
    for length in range(len(whole)):
        path.write_bytes(whole[:length])
        assert kept.get("a") is None
    for place in range(len(whole)):
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 0x40]) + whole[place + 1 :])
        assert kept.get("a") is None
    path.write_bytes(whole + b"\0")
    assert kept.get("a") is None
    path.write_bytes(whole)
    assert kept.get("a") == b"some data"


def test_only_plain_files_of_the_users_own_are_read(
    kept: KeptEntries, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept.put("a", b"data")
    path = kept.folder / "a.kept"
    (kept.folder / "link.kept").symlink_to(path)
    os.mkfifo(kept.folder / "pipe.kept")
    (kept.folder / "folder.kept").mkdir()
    assert [kept.get(name) for name in ("link", "pipe", "folder")] == [None] * 3
    path.chmod(0o620)
    assert kept.get("a") is None
    path.chmod(0o600)
    assert kept.get("a") == b"data"
    monkeypatch.setattr(os, "geteuid", lambda: 54321)
    assert kept.get("a") is None


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def test_what_was_not_used_for_longest_makes_room(tmp_path: Path) -> None:
    kept = KeptEntries(tmp_path, most=3, most_bytes=1000)
    for age, name in enumerate("cba"):
        kept.put(name, b"x")
        os.utime(tmp_path / f"{name}.kept", (1e9 + age, 1e9 + age))
    assert kept.get("c") == b"x"  # used just now
    kept.put("d", b"x")
    assert names(tmp_path) == {"a.kept", "c.kept", "d.kept"}
    kept.put("e", b"x" * 890)
    assert names(tmp_path) == {"e.kept", "d.kept"}
    kept.put("f", b"x" * 1001)
    assert names(tmp_path) == {"e.kept", "d.kept"}


def test_what_runs_that_were_cut_off_left_is_removed_after_a_day(kept: KeptEntries) -> None:
    for name in ("old.part", "new.part", "other"):
        (kept.folder / name).write_text("")
    os.utime(kept.folder / "old.part", (1e9, 1e9))
    os.utime(kept.folder / "other", (1e9, 1e9))
    kept.put("a", b"x")
    assert names(kept.folder) == {"a.kept", "new.part", "other"}


def test_a_failed_write_leaves_the_earlier_entry(
    kept: KeptEntries, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept.put("a", b"first")

    def refuse(*_: object) -> None:
        raise OSError

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(OSError):
        kept.put("a", b"second")
    assert names(kept.folder) == {"a.kept"}
    assert kept.get("a") == b"first"


HAMMER = textwrap.dedent(
    """
    import hashlib, sys
    from pathlib import Path
    from evenacre.io.cache.entries import KeptEntries
    kept = KeptEntries(Path(sys.argv[1]), most=4)
    found = 0
    for turn in range(300):
        name = str(turn * int(sys.argv[2]) % 7)
        data = kept.get(name)
        assert data in (None, name.encode() * 5000), "torn"
        found += data is not None
        kept.put(name, name.encode() * 5000)
    print(found)
    """
)


def test_several_processes_at_once(tmp_path: Path) -> None:
    runs = [
        subprocess.Popen(
            [sys.executable, "-c", HAMMER, str(tmp_path), step], stdout=subprocess.PIPE
        )
        for step in ("1", "3")
    ]
    found = [int(run.communicate()[0]) for run in runs]
    assert [run.returncode for run in runs] == [0, 0]
    assert sum(found) > 0
    assert len(names(tmp_path)) <= 5


# --- the plain form --------------------------------------------------------------------------


@dataclass(frozen=True)
class Part:
    name: str
    values: Any = None


@dataclass(frozen=True)
class Whole:
    parts: tuple[Part, ...] = ()
    by_name: dict[str, Part] = field(default_factory=dict)
    value: Any = None


def back(value: Any) -> Any:
    return unpack(pack(Whole(value=value)), Whole).value


SCALARS = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(), st.binary(max_size=40)
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.lists(inner, max_size=4).map(tuple),
        st.dictionaries(st.one_of(st.text(), st.integers(), st.tuples(st.text())), inner),
    ),
    max_leaves=12,
)


@settings(max_examples=50)
@given(VALUES)
def test_any_plain_value_comes_back_the_same(value: Any) -> None:
    assert repr(back(value)) == repr(value)


def test_dataclasses_come_back_whole() -> None:
    whole = Whole((Part("a", 1), Part("b", (2.5, None))), {"c": Part("c", [b"\0"])}, math.inf)
    assert unpack(pack(whole), Whole) == whole


@pytest.mark.parametrize(
    "array",
    [
        np.arange(6.0).reshape(2, 3),
        np.asfortranarray(np.arange(6).reshape(2, 3)),
        np.array([], np.float32),
        np.array([np.nan, -0.0, np.inf]),
        np.array(["2026-04-14T09:00:00"], "datetime64[us]"),
        np.array([True, False]),
        np.array(3, np.uint8),
    ],
    ids=repr,
)
def test_arrays_keep_kind_shape_order_and_bits(array: np.ndarray) -> None:
    found = back(array)
    assert (found.dtype, found.shape) == (array.dtype, array.shape)
    assert found.tobytes("A") == array.tobytes("A")
    assert found.flags.f_contiguous == array.flags.f_contiguous
    assert found.flags.writeable


def test_numbers_of_numpy_stay_so() -> None:
    for number in (np.float64(0.1), np.int32(-3), np.bool_(True), np.str_("edge")):
        assert type(back(number)) is type(number)
        assert back(number) == number


def test_tables_of_shapes_come_back_the_same() -> None:
    shapes = [
        shapely.box(0, 0, 1, 2),
        None,
        shapely.MultiPolygon([shapely.box(0, 0, 0.1, 0.3), shapely.box(3, 3, 4, 4)]),
        shapely.Point(),
        shapely.LineString([(0, 0, 5.5), (1, 1, 6.5)]),
    ]
    frame = gpd.GeoDataFrame(
        {
            "zone": ["a", "b", "", "d", "é"],
            "cause": pd.Series(["x", None, 1.5, np.nan, np.str_("y")], dtype=object),
            "area": [1.0, np.nan, 3.0, 4.0, 5.0],
            "count": np.arange(5, dtype=np.int32),
            "shape": shapes,
        },
        geometry="shape",
        crs=CRS.from_proj4("+proj=laea +lat_0=40 +lon_0=-92 +units=m"),
        index=pd.Index([3, 1, 4, 1, 5], name="number"),
    )
    for table in (frame, frame.iloc[:0], frame.reset_index(drop=True)):
        found = back(table)
        assert_geodataframe_equal(found, table)
        assert type(found.index) is type(table.index)
        assert pack(found) == pack(table)
    plain = pd.DataFrame({"a": [1, 2], "b": pd.array([1, 2], "Int64")})
    pd.testing.assert_frame_equal(back(plain), plain)
    assert type(back(plain)) is pd.DataFrame


def test_planes_and_shapes_come_back_the_same() -> None:
    crs, affine = CRS.from_epsg(26915), Affine(2.0, 0.0, 1e6, 0.0, -2.0, 5.5)
    assert back((crs, affine)) == (crs, affine)
    assert back(shapely.box(0, 0, 1, 1)).equals_exact(shapely.box(0, 0, 1, 1))


@pytest.mark.parametrize(
    "value",
    [
        object(),
        {1, 2},
        Path("x"),
        pickle.loads,
        np.array([object()]),
        pd.DataFrame({"a": [object()]}),
        pd.DataFrame({"a": [1]}, index=pd.MultiIndex.from_tuples([(1, 2)])),
    ],
    ids=lambda value: type(value).__name__,
)
def test_what_has_no_plain_form_is_refused(value: Any) -> None:
    with pytest.raises(NotPlainError):
        pack(value)


@dataclass(frozen=True)
class Stranger:
    name: str


def test_only_the_classes_of_the_kind_asked_for_are_made() -> None:
    with pytest.raises(LookupError):
        back(Stranger("x"))
    hidden = pickle.dumps(np.array([object()], dtype=object))
    text = pack(Whole(value=np.arange(3)))
    with pytest.raises((ValueError, LookupError)):
        unpack(text.replace(b"'<i8'", b"'|O' ") + hidden, Whole)
