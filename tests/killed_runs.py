"""A run that is killed, or refused by the disk, at its n-th call into the file system.

Started as a program of its own, so that every run is a cheap fork of one that has loaded little.
The calls are counted by wrapping what ``os`` offers; the code under test knows nothing of it.
"""

from __future__ import annotations

import errno
import io
import json
import os
import random
import shutil
import signal
import sys
import traceback
import warnings
import zipfile
from collections import Counter
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from evenacre.errors import InputError
from evenacre.io.result_folder import exchange
from evenacre.io.result_folder.ownership import SUMMARY, file_sha256, write_account
from evenacre.io.result_folder.staging import put_farm, staged_folder
from evenacre.io.taskdata.write.elements import write_tree
from evenacre.processes.written import Written

CALLS = (
    *("open", "rename", "replace", "mkdir", "rmdir", "unlink", "remove", "fsync", "write"),
    *("scandir", "listdir", "lstat", "close"),
)
USERS = {"edited.csv": "my own sums", "map.gpkg": "map of", "map.gpkg-wal": "my edits"}
FARM = ("truth.json", "season.toml", "logs/creek.csv")
BEYOND = 10_000
WHOLE, REFUSED, FAULT, UNSTRUCK = 0, 2, 3, 4


def write_result(out: Path, version: int, told: Written | None = None) -> None:
    """A small result with the shapes of a true one."""
    with staged_folder(out, written=told) as stage:
        (stage / f"job{version}").mkdir()
        for name in ("same.txt", "edited.csv", "map.gpkg", f"job{version}/rate.tif"):
            text = name if name == "same.txt" else f"{name} of {version}"
            (stage / name).write_text(text)
        write_account(stage, SUMMARY, {"schema": "evenacre/summary/1.8", "version": version})


def come_to_nothing(out: Path) -> None:
    with staged_folder(out):
        raise InputError([])


def use(out: Path) -> None:
    """What a person and their programs do to a result."""
    (out / "edited.csv").write_text(USERS["edited.csv"])
    (out / "map.gpkg-wal").write_text(USERS["map.gpkg-wal"])
    (out / "Thumbs.db").write_text("thumbs")
    (out / "photos").mkdir()
    (out / "neighbour").symlink_to("../elsewhere", target_is_directory=True)


def version_of(out: Path) -> int:
    """Which version is whole in its place; 0: none, -1: something else."""
    if not out.exists():
        return 0
    account = json.loads((out / SUMMARY).read_text())
    for file, digest in account["sha256"].items():
        theirs = file in USERS and (out / file).read_text() in USERS.values()
        if file_sha256(out / file) != digest and not theirs:
            return -1
    return int(account["version"])


def struck(blow: Callable[[object], None], at: int) -> Callable[[], bool]:
    """From now on, the call of that number does not come to be; tells whether it was reached."""
    count = 0

    def counted(call: Callable[..., Any]) -> Callable[..., Any]:
        def counting(*args: Any, **options: Any) -> Any:
            nonlocal count
            count += 1
            if count == at:
                blow(args[0])
            return call(*args, **options)

        return counting

    for name in CALLS:
        setattr(os, name, counted(getattr(os, name)))
    io.open = counted(io.open)
    swap = exchange._system_swap()
    exchange._system_swap = lambda: counted(swap) if swap else None
    return lambda: count >= at


def kill(_: object) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def refuse(number: int) -> Callable[[object], None]:
    """As the system does it: what has a name is named."""

    def refusing(what: object) -> None:
        name = [os.fspath(what)] if isinstance(what, (str, Path)) else []
        raise OSError(number, os.strerror(number), *name)

    return refusing


BLOWS = {"kill": kill, "full": refuse(errno.ENOSPC), "forbidden": refuse(errno.EACCES)}


def in_a_fork(work: Callable[[], object], blow: str, at: int) -> int:
    """Status of a process that was struck."""
    child = os.fork()
    if child == 0:
        try:
            reached = struck(BLOWS[blow], at)
            work()
            os._exit(WHOLE if reached() else UNSTRUCK)
        except InputError:
            os._exit(REFUSED)
        except BaseException:
            traceback.print_exc()
            os._exit(FAULT)
    return os.waitpid(child, 0)[1]


def strike(home: Path, blow: str, at: list[int], earlier: str) -> str:
    """Strike one run after another, then let one end well; tell what stood in between."""
    out = home / "result"
    (home / "elsewhere").mkdir(parents=True)
    before = 0
    if earlier != "none":
        write_result(out, 1)
        before = 1
    if earlier == "used":
        use(out)
    for number in at:
        status = in_a_fork(lambda: write_result(out, 2), blow, number)
        assert os.WIFSIGNALED(status) or os.WEXITSTATUS(status) != FAULT, (at, status)
        ended = (
            "unstruck" if os.WIFEXITED(status) and os.WEXITSTATUS(status) == UNSTRUCK else "struck"
        )
        found = version_of(out)
        # Without an exchange in one step the place is empty for a moment.
        assert found in ({0, before, 2} if exchange._system_swap() is None else {before, 2}), at
        if blow != "kill" and before:
            assert found, at
    if before and not version_of(out):  # a run that comes to nothing puts the earlier one back
        status = in_a_fork(lambda: come_to_nothing(out), blow, BEYOND)
        assert version_of(out) == before, (at, status)
    told = Written()
    write_result(out, 3, told)
    assert version_of(out) == 3, at
    hidden = [p.name for p in home.iterdir() if p.name.startswith(".")]
    assert hidden == [], (at, hidden, told.notes)
    asides = [p for p in home.iterdir() if p.name.startswith("result edited ")]
    assert {p.name for p in home.iterdir()} == {"elsewhere", "result", *(p.name for p in asides)}
    kept = {p.name: p.read_text() for aside in asides for p in aside.rglob("*") if p.is_file()}
    if earlier == "used":
        assert kept.items() >= {**USERS, "map.gpkg": "map.gpkg of 1"}.items(), (at, kept)
        assert (out / "Thumbs.db").read_text() == "thumbs", at
        assert (out / "photos").is_dir(), at
        assert os.readlink(out / "neighbour") == "../elsewhere", at
    if blow == "kill":  # what a disk would not let be read is kept too
        assert (len(asides), len(kept)) == ((1, 3) if earlier == "used" else (0, 0)), (at, kept)
    files = {"same.txt", "edited.csv", "map.gpkg", "job3", SUMMARY}
    users = {"Thumbs.db", "photos", "neighbour"} if earlier == "used" else set()
    assert {p.name for p in out.iterdir()} == files | users, at
    return ended


def write_farm(folder: Path) -> None:
    """What stands for the sample farm."""
    for name in FARM:
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text(name)


def write_zip(target: Path) -> None:
    write_tree(target, ElementTree.Element("ISO11783_TaskData"))


def strike_other(home: Path, what: str, blow: str, at: int) -> str:
    """Strike the demo's farm or an export, then let it end well."""
    target = home / ("plan.zip" if what == "zip" else "farm")
    home.mkdir(parents=True)
    if what == "farm in a folder":
        target.mkdir()
    told = Written()
    work = partial(put_farm, target, write_farm, FARM[0], told)
    if what == "zip":
        work = partial(write_zip, target)
    status = in_a_fork(work, blow, at)
    assert os.WIFSIGNALED(status) or os.WEXITSTATUS(status) != FAULT, (what, at, status)
    if what == "farm" and target.exists():
        assert {p.name for p in target.rglob("*") if p.is_file()} == {Path(n).name for n in FARM}
    if what == "zip" and target.exists():
        assert zipfile.ZipFile(target).testzip() is None
    work()
    assert [p.name for p in home.iterdir()] == [target.name], (what, at)
    if what != "zip":
        assert {n: (target / n).read_text() for n in FARM} == {n: n for n in FARM}
        assert {p.name for p in target.iterdir()} == {"truth.json", "season.toml", "logs"}
    assert told.notes == [], (what, at)
    return "unstruck" if os.WIFEXITED(status) and os.WEXITSTATUS(status) == UNSTRUCK else "struck"


def main(home: Path, seed: int, swap: str, shares: dict[str, int]) -> None:
    """Strike with each kind of blow, and tell how often."""
    # Every fork is made between runs, when no thread is left.
    warnings.filterwarnings("ignore", message=".*multi-threaded.*", category=DeprecationWarning)
    if swap == "two steps":
        exchange._system_swap = lambda: None
    print(json.dumps({blow: strikes(home, seed, share, blow) for blow, share in shares.items()}))


def strikes(home: Path, seed: int, share: int, blow: str) -> Counter[str]:
    """Strike at every ``share``-th call: results, the demo's farm and exports."""
    chance = random.Random(seed)
    counts: Counter[str] = Counter()
    for earlier in ("none", "untouched", "used"):
        for at in range(1 + chance.randrange(share), BEYOND, share):
            # The run after a killed one is killed now and then too.
            also = [chance.randrange(1, at + 60)] if chance.random() < 0.3 else []
            case = home / f"{earlier}-{at}"
            ended = strike(case, blow, [at, *also], earlier)
            shutil.rmtree(case)
            counts[f"{earlier} {ended}"] += 1
            if ended == "unstruck" and not also:
                break
    for what in ("farm", "farm in a folder", "zip"):
        for at in range(1 + chance.randrange(share), BEYOND, share):
            ended = strike_other(home / f"{what}-{at}", what, blow, at)
            shutil.rmtree(home / f"{what}-{at}")
            counts[f"{what} {ended}"] += 1
            if ended == "unstruck":
                break
    return counts


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3], json.loads(sys.argv[4]))
