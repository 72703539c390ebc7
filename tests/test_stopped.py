"""Runs that are stopped, killed, doubled or left without a terminal, seen from outside."""

from __future__ import annotations

import os
import pkgutil
import random
import re
import signal
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from cli_jobs import Files, command, evenacre, small_job, write_files
from processes import LISTED, Forked, alive, children, wait_for

from evenacre.errors import InputError
from evenacre.io.result_folder import exchange
from evenacre.io.result_folder.ownership import SUMMARY, read_account
from evenacre.io.result_folder.staging import staged_folder
from evenacre.io.result_folder.workplace import workplace
from evenacre.processes.interrupts import Stopped, heeded, held
from evenacre.processes.written import Written

pytestmark = pytest.mark.skipif(not LISTED, reason="needs a list of processes")

SEASON = """
[[implement]]
name = "drill"
width = "6.096 m"
[[field]]
name = "Creek Forty"
boundary = "field.geojson"
"""
OPERATION = """
[[operation]]
name = "{name}"
field = "Creek Forty"
implement = "drill"
tracks = ["log.csv"]
"""
KILLS = int(os.environ.get("KILLED_AUDITS", "3"))


@pytest.fixture(autouse=True)
def _heeded_hangups() -> Iterator[None]:
    """Under ``nohup`` all that these tests start would ignore a lost terminal."""
    before = signal.signal(signal.SIGHUP, signal.SIG_DFL)
    yield
    signal.signal(signal.SIGHUP, before)


@pytest.fixture
def files(tmp_path: Path) -> Files:
    return write_files(tmp_path)


def season_of(home: Path, *names: str) -> Path:
    write_files(home, small_job(1200.0, (0.1,) * 8) if len(names) > 1 else None)
    path = home / "season.toml"
    path.write_text(SEASON + "".join(OPERATION.format(name=name) for name in names))
    return path


@pytest.fixture(scope="module")
def long_season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Work for some seconds."""
    return season_of(tmp_path_factory.mktemp("long"), "Spring", "Summer", "Fall")


def hidden(home: Path) -> list[Path]:
    return list(home.glob(".evenacre-*"))


def is_whole(out: Path) -> bool:
    """Whether a result is in its place with every file as it was written."""
    account = read_account(out, SUMMARY)
    present = {p.relative_to(out).as_posix() for p in out.rglob("*") if p.is_file()}
    return (
        account is not None
        and present == account.files
        and all(account.is_unchanged(out, file) for file in account.files)
    )


@pytest.mark.parametrize(("number", "code"), [(signal.SIGTERM, 143), (signal.SIGHUP, 129)])
def test_a_request_to_end(long_season: Path, number: int, code: int) -> None:
    """To the whole group; to the parent alone it works as Ctrl-C does."""
    home = long_season.parent
    before = sorted(home.iterdir())
    process = Forked("audit", long_season, "--jobs", 2)
    try:
        wait_for(lambda: bool(hidden(home)) and len(children(process.pid)) >= 3)
        time.sleep(0.5)
        family = children(process.pid)
        os.killpg(process.pid, number)
        out, err = process.communicate()
    finally:
        process.kill()
    assert (process.returncode, out) == (code, "")
    assert err == "Stopped. Nothing was written.\n"
    wait_for(lambda: not any(map(alive, family)))
    assert sorted(home.iterdir()) == before


@pytest.mark.parametrize("wait_s", [0.0, 1.5])
def test_workers_end_with_a_killed_parent(long_season: Path, wait_s: float) -> None:
    home = long_season.parent
    before = sorted(home.iterdir())
    process = Forked("audit", long_season, "--jobs", 2)
    # Two workers, and one that keeps count of what they share.
    wait_for(lambda: len(children(process.pid)) >= 3)
    time.sleep(wait_s)
    family = children(process.pid)
    process.kill()
    process.wait()
    wait_for(lambda: not any(map(alive, family)))
    left = hidden(home)
    assert len(left) == 1
    with workplace(home / "elsewhere", Written()):  # the next run, into another folder even
        assert not left[0].exists()
    assert sorted(home.iterdir()) == before


def test_audits_killed_at_any_moment_leave_a_whole_result(tmp_path: Path) -> None:
    season = season_of(tmp_path, "Spring")
    start = time.monotonic()
    assert Forked("audit", season).wait() == 0
    whole_s = time.monotonic() - start
    out = tmp_path / "evenacre-out"
    chance = random.Random()
    names = {p.name for p in tmp_path.iterdir()}
    for _ in range(KILLS):
        moment = chance.uniform(0.0, 1.1 * whole_s)
        process = Forked("audit", season)
        time.sleep(moment)
        process.kill()
        process.wait()
        assert is_whole(out), moment
    ran = evenacre("audit", season)
    assert (ran.code, ran.err) == (0, "")
    assert is_whole(out)
    assert {p.name for p in tmp_path.iterdir()} == names


def test_a_run_killed_while_it_writes_is_cleared_by_the_next(files: Files) -> None:
    process = Forked("audit", *files.options())
    wait_for(lambda: any(files.folder.glob(".evenacre-*/job-*/new/*")))
    process.kill()
    process.wait()
    assert not files.out.exists()
    assert len(hidden(files.folder)) == 1
    assert evenacre("audit", *files.options()).code == 0
    assert is_whole(files.out)
    assert hidden(files.folder) == []


def test_a_second_run_is_told_to_wait(files: Files) -> None:
    with staged_folder(files.out) as stage:
        (stage / "begun.txt").write_text("first")
        # One into another folder beside it leaves the first one's work alone.
        assert evenacre("audit", *files.options(out=files.folder / "third")).code == 0
        second = evenacre("audit", *files.options())
        assert second.code == 2
        assert "is being written by another run" in second.errors()[0]
        assert (stage / "begun.txt").read_text() == "first"
    assert [p.name for p in files.out.iterdir()] == ["begun.txt"]
    assert is_whole(files.folder / "third")
    assert hidden(files.folder) == []


def test_two_at_once(tmp_path: Path) -> None:
    """One after the other or told to wait; never a mixture."""
    season = season_of(tmp_path, "Spring")
    runs = [Forked("audit", season) for _ in range(2)]
    codes = sorted(run.wait() for run in runs)
    assert codes[0] == 0
    assert set(codes) <= {0, 2}
    assert is_whole(tmp_path / "evenacre-out")
    assert hidden(tmp_path) == []


def test_a_lost_terminal(long_season: Path) -> None:
    home = long_season.parent
    before = sorted(home.iterdir())
    master, terminal = os.openpty()

    def take_terminal() -> None:
        import fcntl
        import termios

        fcntl.ioctl(0, termios.TIOCSCTTY, 0)
        os.close(master)

    process = Forked(
        *("audit", long_season, "--jobs", 2),
        stdin=terminal,
        stdout=terminal,
        stderr=terminal,
        before=take_terminal,
    )
    os.close(terminal)
    wait_for(lambda: bool(hidden(home)) and len(children(process.pid)) >= 3)
    family = children(process.pid)
    os.read(master, 10_000)
    os.close(master)
    assert process.wait() == 129
    wait_for(lambda: not any(map(alive, family)))
    assert sorted(home.iterdir()) == before


def test_a_lost_terminal_that_is_to_be_ignored(files: Files) -> None:
    process = Forked(
        "audit",
        *files.options(),
        before=lambda: signal.signal(signal.SIGHUP, signal.SIG_IGN),
    )
    wait_for(lambda: bool(hidden(files.folder)))
    process.send_signal(signal.SIGHUP)
    assert process.wait() == 0
    assert is_whole(files.out)


@pytest.mark.parametrize("closed", [(1,), (0, 1, 2)])
def test_standard_streams_that_are_closed(files: Files, closed: tuple[int, ...]) -> None:
    process = subprocess.Popen(
        command("audit", *files.options()),
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        preexec_fn=lambda: [os.close(c) for c in closed],
    )
    out, err = process.communicate(timeout=60)
    assert (process.returncode, err) == (0, "")
    assert bool(out) == (1 not in closed)
    assert is_whole(files.out)


def test_complaints_that_nobody_reads(files: Files) -> None:
    read, write = os.pipe()
    os.close(read)
    process = Forked("audit", *files.options(width="20"), stderr=write)
    os.close(write)
    assert process.wait() == 2


# --- what a stopped run says -----------------------------------------------------------------


def stopped_in(
    monkeypatch: pytest.MonkeyPatch, place: str, before: Callable[..., Any] | None = None
) -> None:
    def interrupted(*args: object, **options: object) -> None:
        if before is not None:
            before(*args, **options)
        os.kill(os.getpid(), signal.SIGINT)
        time.sleep(0.01)

    monkeypatch.setattr(place, interrupted)


def test_stopped_after_the_result_took_its_place(
    files: Files, monkeypatch: pytest.MonkeyPatch
) -> None:
    stopped_in(monkeypatch, "evenacre.cli.audit.tell")
    ran = evenacre("audit", *files.options())
    assert ran.code == 130
    assert ran.err == f"Stopped. Written before that: {files.out}.\n"
    assert is_whole(files.out)


@pytest.mark.parametrize("earlier", [False, True])
def test_stopped_while_results_are_exchanged(
    files: Files, monkeypatch: pytest.MonkeyPatch, earlier: bool
) -> None:
    if earlier:
        assert evenacre("audit", *files.options()).code == 0
        (files.out / "report.html").write_text("mine")
    stopped_in(monkeypatch, "evenacre.io.result_folder.staging.publish", exchange.publish)
    ran = evenacre("audit", *files.options())
    assert ran.code == 130
    assert ran.err.startswith(f"Stopped. Written before that: {files.out}.\n")
    assert is_whole(files.out)
    assert hidden(files.folder) == []
    (*asides,) = files.folder.glob("out edited *")
    assert [(p / "report.html").read_text() for p in asides] == ["mine"] * earlier
    assert ran.err.count("note: ") == earlier


class Dropped:
    """Is asked to stop as it goes, where Python drops what is raised."""

    def __del__(self) -> None:
        os.kill(os.getpid(), signal.SIGINT)
        time.sleep(0.01)


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize(
    ("place", "is_written"),
    [
        ("evenacre.workflows.operations.operation_load_book", False),
        ("evenacre.cli.audit.tell", True),
    ],
)
def test_a_request_that_python_drops_is_heeded(
    files: Files, monkeypatch: pytest.MonkeyPatch, place: str, is_written: bool
) -> None:
    whole = pkgutil.resolve_name(place)

    def dropping(*args: object, **options: object) -> object:
        Dropped()
        return whole(*args, **options)

    monkeypatch.setattr(place, dropping)
    ran = evenacre("audit", *files.options())
    assert ran.code == 130
    told = f"Written before that: {files.out}." if is_written else "Nothing was written."
    assert ran.err.endswith(f"Stopped. {told}\n")
    assert files.out.exists() == is_written
    assert hidden(files.folder) == []


def test_a_request_that_a_library_makes_an_error_of_is_heeded(
    files: Files, monkeypatch: pytest.MonkeyPatch
) -> None:
    def called_back(*_: object, **__: object) -> None:
        try:
            signal.raise_signal(signal.SIGINT)
        except KeyboardInterrupt:
            raise SystemError("returned a result with an exception set") from None

    monkeypatch.setattr("evenacre.workflows.operations.operation_load_book", called_back)
    ran = evenacre("audit", *files.options())
    assert (ran.code, hidden(files.folder)) == (130, [])
    assert ran.err.endswith("Stopped. Nothing was written.\n")


def test_a_request_to_end_is_held_back_and_heard() -> None:
    steps = []

    def work() -> None:
        with held():
            os.kill(os.getpid(), signal.SIGTERM)
            time.sleep(0.01)
            steps.append("whole")
        steps.append("never")

    with pytest.raises(Stopped) as caught, heeded():
        work()
    assert caught.value.number == signal.SIGTERM
    assert steps == ["whole"]
    assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL


def test_a_disk_without_locks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Only what is surely dead is cleared there: the work of a day ago."""

    def no_locks(*_: object, **__: object) -> None:
        raise NotImplementedError

    monkeypatch.setattr("filelock.FileLock.acquire", no_locks)
    out = tmp_path / "out"
    with workplace(out, Written()) as living, staged_folder(out) as stage:
        assert stage.parent.parent == living.parent
        (stage / "a.txt").write_text("a")
    (place,) = hidden(tmp_path) or [None]
    assert place is None
    dead = exchange_left(out)
    with staged_folder(tmp_path / "next"):
        assert dead.exists()
    day_ago = time.time() - 25 * 3600
    os.utime(dead, (day_ago, day_ago))
    with staged_folder(tmp_path / "next"):
        assert not dead.exists()
    assert hidden(tmp_path) == []


def exchange_left(out: Path) -> Path:
    """The folder of a job that was killed."""
    with workplace(out, Written()) as job:
        name = re.sub("job-.*", "job-dead", job.name)
        place = job.parent
    dead = place / name
    (dead / "new").mkdir(parents=True)
    return dead


@pytest.mark.parametrize("plant", ["link", "file"])
def test_the_hidden_place_is_not_another_ones(tmp_path: Path, plant: str) -> None:
    out = tmp_path / "out"
    with workplace(out, Written()) as job:
        place = job.parent
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine/letter.txt").write_text("dear")
    if plant == "link":
        place.symlink_to(tmp_path / "mine")
    else:
        place.write_text("mine")
    with pytest.raises(InputError, match=r"beside it|could not be written"), staged_folder(out):
        pass
    assert (tmp_path / "mine/letter.txt").read_text() == "dear"
    assert not out.exists()
