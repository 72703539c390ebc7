"""Opening a file only ever reads it, and ends soon, whatever the file is.

Every case of ``tests/hostile`` is given to a command while the operating system is watched:
no connection, no other program, nothing read but what was named, nothing written but the
output; an exit of 0, or of 2 with a whole complaint, within the time and memory there is.
"""

from __future__ import annotations

import os
from pathlib import Path

import hostile.watch
import pytest
from hostile.calls import Allowed, Call
from hostile.cases import Case, Known
from hostile.corpus import FAMILIES
from hostile.watch import Run, prepared, watch, working_strace

EVERY = bool(os.environ.get("EVERY_HOSTILE_FILE"))
# Of the families that have not been seen to do harm lately, this share goes with every run, all
# under one watch.
SHARE = 24
WHOLE = "recipes and json"
TOGETHER = {name: [name] for name in FAMILIES}
if not EVERY:
    TOGETHER = {WHOLE: [WHOLE], "some of the others": [name for name in FAMILIES if name != WHOLE]}


@pytest.fixture(scope="module")
def known(tmp_path_factory: pytest.TempPathFactory) -> Known:
    if not working_strace():
        # CI asks for the watch: there a missing one is a failure, not a skip.
        refuse = pytest.fail if os.environ.get("REQUIRE_STRACE") else pytest.skip
        refuse("no strace that may watch")
    return prepared(tmp_path_factory.mktemp("known"))


@pytest.mark.parametrize("families", TOGETHER.values(), ids=TOGETHER)
def test_opening_a_file_only_reads_it(families: list[str], tmp_path: Path, known: Known) -> None:
    cases = [
        case
        for family in families
        for number, case in enumerate(FAMILIES[family]())
        if EVERY or case.chief or (not case.heavy and (family == WHOLE or number % SHARE == 0))
    ]
    runs = watch(cases, tmp_path / "run", known, all_commands=EVERY)
    assert len(runs) >= len(cases)
    faults = [str(run) for run in runs if run.faults]
    assert not faults, f"{len(faults)} of {len(runs)} runs:\n" + "\n".join(faults)


def test_cases_are_told_apart() -> None:
    names = [case.name for cases in FAMILIES.values() for case in cases()]
    assert len(names) == len(set(names))


ACTS = """
import os, socket, subprocess, sys
def main():
    os.makedirs("made")
    open("secret-neighbour.geojson").read()
    open("/etc/passwd").read()
    subprocess.run(["true"])
    with socket.socket() as caller:
        caller.connect(("127.0.0.1", int(sys.argv[2])))
    os.rename("secret-victim.gpkg", "../place/taken")
    print("error: \\x1b[2J")
    raise SystemExit(2)
"""


def _run(tmp_path: Path, known: Known, program: str, count: int = 1) -> list[Run]:
    """Watch a program of this test in place of the command."""
    (tmp_path / "acting.py").write_text(program)
    case = Case("acts", "task data", lambda at: str(at.port))
    return watch([case] * count, tmp_path / "run", known, program="acting")


def test_the_watch_sees_what_is_done(tmp_path: Path, known: Known) -> None:
    """A command that does everything it must not is found out in every point."""
    (run,) = _run(tmp_path, known, ACTS)
    found = "\n".join(run.faults)
    for fault in (
        "changed or made made",
        "changed or made secret-victim.gpkg",
        "called a server",
        "no full complaint",
        "printed the control character",
        "wrote ['taken']",
        "secret-neighbour.geojson",
        "read /etc/passwd",
        "ran execve",
        "opened socket(AF_INET",
        "called connect",
        "mkdir",
        "rename",
    ):
        assert fault in found, found


def test_a_command_that_never_ends_is_ended(
    tmp_path: Path, known: Known, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(hostile.watch, "LONGEST_S", 2.0)
    runs = _run(tmp_path, known, "import time\ndef main(): time.sleep(60)", 2)
    assert [run.faults for run in runs] == [["had not ended after 2 s"]] * 2


def test_a_command_that_takes_all_memory_is_ended(
    tmp_path: Path, known: Known, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(hostile.watch, "MOST_BYTES", 200 << 20)
    takes = "import time\ndef main(): held = b'a' * (300 << 20); time.sleep(20)"
    (run,) = _run(tmp_path, known, takes)
    assert run.faults[0].startswith("took more than")


def test_a_call_through_a_link_counts_for_where_it_leads() -> None:
    text = 'openat(AT_FDCWD</a>, "b", O_RDONLY) = 3</etc/passwd>'
    call = Call("1", 0.0, "openat", text, ("/etc/passwd",), True)
    assert Allowed(("/a",), (), "/a/secret", "/p").fault(call) == "read /etc/passwd"
