"""What each command loads: a library that is not needed costs a second before the answer."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

HEAVY = (
    *("affine", "dask", "geopandas", "matplotlib", "pandas", "pint", "rasterio", "scipy.spatial"),
    *("scipy.special", "shapely", "starlette"),
)
PROGRAM = """
import contextlib, io, sys
from evenacre.cli.main import main
with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):
    main()
print([name for name in {heavy} if name in sys.modules])
"""


def loaded(*arguments: str, where: Path) -> list[str]:
    """The heavy libraries that a command has loaded when it is done."""
    ran = subprocess.run(
        [sys.executable, "-c", PROGRAM.format(heavy=HEAVY), *arguments],
        cwd=where,
        capture_output=True,
        text=True,
        check=True,
    )
    found: list[str] = ast.literal_eval(ran.stdout.strip().splitlines()[-1])
    return found


CALIBRATE = ("calibrate", "--product", "18-46-0", "--setting", "42")
CATCHES = ("--catch", "10.2 10.4 10.3 lb", "--area", "0.1 ac", "--no-book")
FINISH = ("finish", "--area", "18 ac", "--left", "1900 lb", "--rate", "110 lb/ac")


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (("--help",), []),
        (("audit", "--help"), []),
        (FINISH, []),
        ((*CALIBRATE, *CATCHES), []),
    ],
)
def test_nothing_is_loaded_that_is_not_needed(
    arguments: tuple[str, ...], expected: list[str], tmp_path: Path
) -> None:
    assert loaded(*arguments, where=tmp_path) == expected


def test_a_season_is_checked_without_what_draws_and_computes(sample_farm: Path) -> None:
    found = loaded("check", "season.toml", where=sample_farm)
    assert found == ["geopandas", "pandas", "pint", "shapely"]
