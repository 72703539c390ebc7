"""What README and documentation tell people to type and to open is there."""

from __future__ import annotations

import inspect
import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import pytest

from evenacre.cli.main import COMMANDS
from evenacre.cli.options.derived import with_options

HOME = Path(__file__).parents[1]
README, DOCS = HOME / "README.md", HOME / "docs"
pytestmark = pytest.mark.skipif(not DOCS.exists(), reason="docs are not part of every archive")


def pages() -> list[Path]:
    return [README, HOME / "DEVELOPERS.md", HOME / "SECURITY.md", *sorted(DOCS.rglob("*.md"))]


def fences(page: Path) -> Iterator[str]:
    """Text of every block of code without a language, of which commands are."""
    for language, text in re.findall(
        r"^ *```([^`\n]*)\n(.*?)^ *```$", page.read_text(), re.MULTILINE | re.DOTALL
    ):
        if not language:
            yield text


def commands() -> Iterator[tuple[str, list[str]]]:
    """Page and words of every call of the command line."""
    for page in pages():
        for block in fences(page):
            for line in re.sub(r"\\\n\s*", " ", block).splitlines():
                called = re.match(r"(?:\S*python -m |py -m )?evenacre (.*)", line.strip())
                if called:
                    yield page.name, shlex.split(called[1], comments=True)


def flags_of(command: str) -> set[str]:
    """Every option of a command, by what declares it."""
    flags = {"--help"}
    for name, parameter in inspect.signature(with_options(COMMANDS[command])).parameters.items():
        said = parameter.annotation.__metadata__[0]
        own = [n for n in (said.default, *(said.param_decls or ())) if isinstance(n, str)]
        flag = name.replace("_", "-")
        flags |= {part for n in own or [f"--{flag}/--no-{flag}"] for part in n.split("/")}
    return flags


def test_every_call_that_is_shown_names_a_command_and_its_options() -> None:
    shown = list(commands())
    assert {words[0] for _, words in shown} == set(COMMANDS)
    for page, (command, *words) in shown:
        flags = {word.partition("=")[0] for word in words if word.startswith("--")}
        assert flags <= flags_of(command), (page, command)


def test_every_link_leads_to_a_file_and_a_heading() -> None:
    for page in pages():
        text = re.sub(r"```.*?```", "", page.read_text(), flags=re.DOTALL)
        for target in re.findall(r"(?:\]\(|src=\")([^)\s\"]+)", text):
            file, _, heading = target.partition("#")
            if "://" in target:
                continue
            place = (page.parent / file) if file else page
            assert place.exists(), (page.name, target)
            if heading:
                heads = re.findall(r"^#+ (.*)$", place.read_text(), re.MULTILINE)
                assert heading in {anchor(head) for head in heads}, (page.name, target)


def anchor(head: str) -> str:
    """The name of a heading in an address, as the sites that show Markdown make it."""
    return re.sub(r"[^\w -]", "", head.lower()).replace(" ", "-")


def test_the_readme_is_one_that_a_person_reads() -> None:
    text = README.read_text()
    assert len(text.splitlines()) < 150
    targets = set(re.findall(r"^([a-z-]+):", (HOME / "Makefile").read_text(), re.MULTILINE))
    told = set(re.findall(r"^make ([a-z-]+)", text, re.MULTILINE))
    assert {"demo", "test"} <= told <= targets
    # Whoever has no make finds the same two commands.
    assert re.search(r"pip install -e .*\n.*evenacre demo .*\n.*pytest", text)


def test_every_page_is_in_the_table_of_contents() -> None:
    listed = re.findall(r"^[\w/]+$", (DOCS / "index.md").read_text(), re.MULTILINE)
    pages_of_site = {p.relative_to(DOCS).with_suffix("").as_posix() for p in DOCS.rglob("*.md")}
    assert sorted(listed) == sorted(pages_of_site - {"index"})
