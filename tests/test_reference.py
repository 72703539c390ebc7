"""The reference pages of the documentation hold what commands and results truly have."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from plans import make_plan
from synthetic_result import make_result
from synthetic_season import make_ledger
from typer.testing import CliRunner

from evenacre.cli.main import COMMANDS, app
from evenacre.reports.maps.pass_layers import pass_files
from evenacre.reports.maps.stored_layers import operation_layers
from evenacre.reports.quantities import Display
from evenacre.reports.tables.accounts import summary
from evenacre.reports.tables.audit import audit_frames
from evenacre.reports.tables.season import season_frames
from evenacre.units.display import METRIC, US

TOOLS = Path(__file__).parents[1] / "tools"
pytestmark = pytest.mark.skipif(not TOOLS.exists(), reason="tools are not part of every archive")


@pytest.fixture(scope="module")
def pages() -> Iterator[dict[str, str]]:
    sys.path.insert(0, str(TOOLS))
    from reference import PAGES

    yield {page.rpartition("/")[2]: make() for page, make in PAGES.items()}
    sys.path.remove(str(TOOLS))


@pytest.mark.parametrize("command", COMMANDS)
def test_every_option_that_help_tells_is_on_the_page(command: str, pages: dict[str, str]) -> None:
    told = CliRunner().invoke(app, [command, "--help"], env={"COLUMNS": "300", "NO_COLOR": "1"})
    assert told.exit_code == 0
    section = pages["commands"].partition(f"## `evenacre {command}`\n")[2].partition("\n## ")[0]
    flags = set(re.findall(r"(?<=[\s│])--[a-z][a-z-]+(?=[\s│,])", told.stdout)) - {"--help"}
    assert flags <= set(re.findall(r"`(--[a-z-]+)`", section))
    assert flags


def keys_of(record: Any, place: str) -> Iterator[tuple[str, str]]:
    """Place and key of everything that stands in records of declared tables."""
    for row in record if isinstance(record, list) else [record]:
        for key, value in row.items():
            yield place, key
            if isinstance(value, list) and value and isinstance(value[0], dict):
                yield from keys_of(value, f"{place}.{key}")


def test_every_key_of_a_summary_is_under_its_place(pages: dict[str, str]) -> None:
    account = summary(
        [make_result()],
        farm="Three Larks",
        inputs=(),
        warnings=(),
        generated="",
        ledger=make_ledger(),
    )
    found = {*keys_of(account["operations"], "operations[]"), *keys_of(account["season"], "season")}
    assert len(found) > 100
    sections = re.findall(r"^### `([^`]+)`.*\n((?:(?!^#).*\n)+)", pages["figures"], re.MULTILINE)
    told = {(place, key) for place, text in sections for key in re.findall(r"^\| `(\w+)`", text, 8)}
    page = (TOOLS.parent / "docs" / "reference" / "figures.md").read_text()
    assert set(account) - {"operations", "season"} <= set(re.findall(r"`(\w+)`", page))
    # Loads stand beside the operation's own table, each in a section.
    beside = {("operations[]", "loads"), ("operations[]", "halfway"), ("season", "balance")}
    assert found - told <= beside


@pytest.mark.parametrize("units", [US, METRIC])
def test_every_column_of_tables_is_on_the_page(units: Any, pages: dict[str, str]) -> None:
    display = Display(units)
    frames = {**audit_frames([make_result()], display), **season_frames(make_ledger(), display)}
    for name, frame in frames.items():
        text = pages["figures"].partition(f"`tables/{name}.csv`\n")[2].partition("\n#")[0]
        for column in set(frame.columns) - {"field", "operation"}:
            head, _, unit = str(column).partition(" [")
            assert re.search(rf"\| {re.escape(head)}( \[.*{re.escape(unit)}.*)? \|", text), (
                name,
                column,
            )


def layers_on_page(result: str) -> dict[str, set[str]]:
    """Columns of the layers that the page lists for a result."""
    page = (TOOLS.parent / "docs" / "reference" / "layers.md").read_text()
    section = page.partition(f"## `{result}`")[2].partition("\n## ")[0]
    parts = re.findall(r"^### `(\w+)`\n(.*?)(?=^###|\Z)", section, re.MULTILINE | re.DOTALL)
    heads = {name: re.findall(r"^\| (`.*?) \|", text, re.MULTILINE) for name, text in parts}
    return {name: set(re.findall(r"`(\w+)`", " ".join(those))) for name, those in heads.items()}


def test_the_page_lists_every_layer_of_an_audit_and_its_columns() -> None:
    listed = layers_on_page("layers.gpkg")
    layers = operation_layers(make_result())
    assert list(listed) == list(layers)
    for name, layer in layers.items():
        columns = {re.sub("(?<=applied_kg_).*", "PRODUCT", column) for column in layer.columns}
        assert listed[name] == columns - {"field", "operation", "geometry"}, name


def test_the_page_lists_every_layer_of_passes_and_its_columns() -> None:
    listed = layers_on_page("passes.gpkg")
    plans = [paddock.passes for paddock in make_plan().paddocks if paddock.passes]
    layers = pass_files(plans).layers
    assert {"passes", "turns", "workable"} <= set(layers) <= set(listed)
    for name, layer in layers.items():
        assert listed[name] == set(layer.columns) - {"geometry"}, name
