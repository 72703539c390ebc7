"""Run hostile cases under watch and say what was wrong with each."""

from __future__ import annotations

import hashlib
import json
import os
import re
import select
import selectors
import shutil
import signal
import socket
import stat
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

import evenacre
from hostile import calls
from hostile.cases import ROLES, SECRET, VICTIM, Case, Known, Place, collection

LONGEST_S = 30.0
MOST_BYTES = 2 << 30
_LOOKS_S = 0.05
_HASHED = 1 << 22
_TESTS = Path(__file__).parent.parent
# A complaint names a file, says what is wrong in a sentence, and what to do in another.
_COMPLAINT = re.compile(r"^error(?: \([^\n]*?\))?: \S.*?: \S.+[.?)] .+[.?]$")
_CONTROLS = re.compile(r"[\x00-\x08\x0b-\x1f\x7f\x80-\x9f\u202a-\u202e\u2066-\u2069]")
_LONGEST_WORDS = 20_000


@dataclass
class Run:
    """One command on one case: how it ended, and what was wrong with that."""

    case: str
    command: list[str]
    code: int | None = None
    seconds: float = 0.0
    peak_bytes: int = 0
    said: str = ""
    faults: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        faults = "\n    ".join(dict.fromkeys(self.faults))
        return f"{self.case}: evenacre {' '.join(self.command)}\n    {faults}"


class Listener:
    """Counts who calls at a port of this machine."""

    def __init__(self) -> None:
        self._callers = 0
        self._socket = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._socket.getsockname()[1]
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        with suppress(OSError):
            while True:
                caller, _ = self._socket.accept()
                self._callers += 1
                caller.close()

    @property
    def callers(self) -> int:
        """How many have called, those included who wait to be answered."""
        while select.select([self._socket], [], [], 0)[0]:
            time.sleep(0.01)
        return self._callers

    def close(self) -> None:
        """Stop."""
        self._socket.close()


class Watched:
    """A process that runs commands, and the watch over it."""

    def __init__(self, program: str, folder: Path, known: Known, traces: Path) -> None:
        self._said = folder / "tmp" / "said.txt"
        environment = {
            **{k: v for k, v in os.environ.items() if not k.startswith(("GDAL", "CPL", "PROJ"))},
            "PYTHONPATH": os.pathsep.join(
                [str(Path(evenacre.__file__).parent.parent), str(folder.parent)]
            ),
            "PYTHONDONTWRITEBYTECODE": "1",
            "HOME": str(folder / "home"),
            "TMPDIR": str(folder / "tmp"),
            "EVENACRE_CACHE": str(folder / "cache"),
            "MPLCONFIGDIR": str(Path(known.folder) / "matplotlib"),
            "NO_COLOR": "1",
            "COLUMNS": "200",
        }
        self._process = subprocess.Popen(
            [
                *(*calls.COMMAND, "-o", str(traces), sys.executable),
                *(str(_TESTS / "hostile" / "worker.py"), program, str(self._said)),
            ],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=environment,
            start_new_session=True,
        )

    def ask(self, run: Run, label: str, folder: Path) -> bool:
        """Run a command; False when the process is gone after it."""
        process = self._process
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write(f"{json.dumps([label, str(folder), run.command])}\n".encode())
        process.stdin.flush()
        begun = time.monotonic()
        with selectors.DefaultSelector() as answers:
            answers.register(process.stdout, selectors.EVENT_READ)
            while not answers.select(_LOOKS_S):
                run.peak_bytes = max(run.peak_bytes, _memory(process.pid))
                if run.peak_bytes > MOST_BYTES:
                    run.faults.append(f"took more than {run.peak_bytes >> 20} MiB")
                elif time.monotonic() - begun > LONGEST_S:
                    run.faults.append(f"had not ended after {LONGEST_S:.0f} s")
                else:
                    continue
                self.kill()
                return False
        answer = process.stdout.readline()
        run.said = self._said.read_text(errors="replace")[:_LONGEST_WORDS]
        if not answer:
            run.faults.append(f"died: {run.said[-500:]}")
            self.kill()
            return False
        run.code, run.seconds = json.loads(answer)
        return True

    def kill(self) -> None:
        """End it and everything it started, the watched before the watch."""
        for pid in reversed(_tree(self._process.pid)):
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        self._process.wait()

    def close(self) -> None:
        """Let it end by itself."""
        assert self._process.stdin is not None
        self._process.stdin.close()
        try:
            self._process.wait(LONGEST_S)
        except subprocess.TimeoutExpired:
            self.kill()


def _tree(pid: int) -> list[int]:
    found = [pid]
    for parent in found:
        with suppress(OSError):
            for task in Path(f"/proc/{parent}/task").iterdir():
                found += map(int, (task / "children").read_text().split())
    return found


def _memory(pid: int) -> int:
    """Bytes of a process and its children that are theirs alone."""
    total = 0
    for one in _tree(pid)[1:]:  # the watch itself does not count
        with suppress(OSError):
            for line in Path(f"/proc/{one}/status").read_text().splitlines():
                if line.startswith(("RssAnon:", "RssShmem:")):
                    total += int(line.split()[1]) << 10
    return total


def _looked(folder: Path) -> dict[str, tuple[object, ...]]:
    """What lies in a folder: kind, size, time of change and content of each file."""
    seen: dict[str, tuple[object, ...]] = {}
    for path in sorted(folder.rglob("*")):
        about = path.lstat()
        mark: tuple[object, ...] = (stat.S_IFMT(about.st_mode),)
        if stat.S_ISREG(about.st_mode):
            small = about.st_size <= _HASHED and os.access(path, os.R_OK)
            content = hashlib.sha256(path.read_bytes()).hexdigest() if small else ""
            mark += (about.st_size, about.st_mtime_ns, content)
        seen[os.fsdecode(path.relative_to(folder))] = mark
    return seen


def commands(case: Case, name: str, place: Path, known: Known, turn: int) -> list[list[str]]:
    """The commands to try a case with: one of the quick ones in turn, or all for turn -1."""
    asked = ROLES[case.role](name, place, known)
    if turn < 0 or case.chief:
        return asked
    quick = [command for command in asked if command[0] in ("check", "gather")] or asked
    return [quick[turn % len(quick)]]


def watch(
    cases: Sequence[Case],
    folder: Path,
    known: Known,
    *,
    all_commands: bool = False,
    program: str = "evenacre.cli.main",
) -> list[Run]:
    """Run cases in one watched process (or more, when one has to be ended).

    Parameters
    ----------
    cases : sequence of Case
    folder : Path
        New; everything is made in it.
    known : Known
        Sound files to go along.
    all_commands : bool
        Try each case with every command that opens such a file, else only chief cases.
    program : str
        The module whose ``main`` is run; it may lie beside the folder.

    Returns
    -------
    list of Run
        Each with its faults.
    """
    for part in ("home", "tmp", "cache", "traces"):
        (folder / part).mkdir(parents=True)
    (folder / "home" / "secret.geojson").write_text(collection())
    listener = Listener()
    runs: dict[str, Run] = {}
    allowed: dict[str, calls.Allowed] = {}
    watched: Watched | None = None
    started = 0
    try:
        for number, case in enumerate(cases):
            with _made(case, folder / f"{number:03}", folder / "home", listener.port) as (
                place,
                name,
            ):
                turn = -1 if all_commands else number
                asked = commands(case, name, place.folder, known, turn)
                for command in asked:
                    label = f"{number:03}.{len(runs)}"
                    run = runs[label] = Run(case.name, command)
                    allowed[label] = _allowed(case, name, place, folder, known)
                    if watched is None:
                        started += 1
                        watched = Watched(program, folder, known, folder / "traces" / f"{started}")
                    if not _compared(run, label, case, name, place, folder, watched, listener):
                        watched = None
        if watched is not None:
            watched.close()
            left = [p.name for p in (folder / "tmp").iterdir() if p.name != "said.txt"]
            if left:
                runs[label].faults.append(f"left behind in the temporary folder: {left}")
    finally:
        if watched is not None:
            watched.kill()
        listener.close()
    _attribute(sorted((folder / "traces").iterdir()), runs, allowed)
    return list(runs.values())


@contextmanager
def _made(case: Case, own: Path, home: Path, port: int) -> Iterator[tuple[Place, str]]:
    """The files of a case, for as long as they are needed."""
    place = Place(own / "given", home, port)
    place.folder.mkdir(parents=True)
    place.write(SECRET, collection())
    place.write(VICTIM, b"not to be written over")
    yield place, case.make(place)
    shutil.rmtree(own, ignore_errors=True)


def _compared(
    run: Run,
    label: str,
    case: Case,
    name: str,
    place: Place,
    folder: Path,
    watched: Watched,
    listener: Listener,
) -> bool:
    """Run a command, and compare what lies around before and after it."""
    out = place.folder.parent / "place"
    shutil.rmtree(out, ignore_errors=True)
    out.mkdir()
    own = {name, f".{os.path.basename(name)}.lock"} if case.role == "book" else set()
    before = {} if case.restless else _looked(place.folder)
    home, callers = _looked(place.home), listener.callers
    lives = watched.ask(run, label, place.folder)
    after = {} if case.restless else _looked(place.folder)
    for path in sorted({*before, *after} - own):
        if before.get(path) != after.get(path):
            run.faults.append(f"changed or made {path}")
    if _looked(place.home) != home:
        run.faults.append("changed or made a file in another folder")
    if listener.callers > callers:
        run.faults.append("called a server")
    if lives:
        run.faults += _told(run, out)
    return lives


def _told(run: Run, out: Path) -> list[str]:
    """What is wrong with how a command ended."""
    if run.code not in (0, 2):
        return [f"ended with {run.code}: {run.said[-600:]}"]
    faults = []
    if "Traceback" in run.said:
        faults.append(f"a traceback: {run.said[-600:]}")
    if strange := _CONTROLS.search(run.said):
        faults.append(f"printed the control character {strange[0]!r}")
    if len(run.said) >= _LONGEST_WORDS:
        faults.append("said more than anybody reads")
    if run.code == 2:
        lines = [line for line in run.said.splitlines() if line.startswith("error")]
        if not lines or not all(map(_COMPLAINT.match, lines)):
            faults.append(f"no full complaint: {run.said[:600]}")
        left = [path.name for path in out.rglob("*")]
        if left:
            faults.append(f"wrote {left} in spite of its complaint")
    return faults


def _allowed(case: Case, name: str, place: Place, folder: Path, known: Known) -> calls.Allowed:
    system = ("/usr", "/lib", "/lib64", "/proc", "/sys", "/dev/null", "/dev/urandom")
    settings = (
        "/etc/ld.so.cache",
        "/etc/localtime",
        "/etc/timezone",
        "/etc/mime.types",
        "/etc/ssl/openssl.cnf",
        "/etc/locale.alias",
    )
    python = {sys.prefix, sys.base_prefix, os.path.realpath(sys.prefix)}
    checkout = Path(evenacre.__file__).parent
    writes = [place.folder.parent / "place", folder / "tmp", folder / "cache", "/dev/null"]
    if case.role == "book":
        # The library of locks tries out, with files of no name, what the disk can do.
        own = (name, f".{name}.*", "#*", ".filelock-probe-*")
        writes += [f"{place.folder}/{part}" for part in own]
    shared = Path(known.folder)
    return calls.Allowed(
        (
            *(*system, *settings, *python, str(checkout), str(checkout.parent / "sample_fields")),
            *(str(_TESTS), str(place.folder), str(shared), *map(place.filled, case.reads)),
        ),
        # Semaphores between own processes live in shared memory.
        (*map(str, writes), str(shared / "matplotlib"), "/dev/shm"),
        str(place.folder / "secret-"),
        os.path.realpath(sys.executable),
    )


def _attribute(traces: list[Path], runs: dict[str, Run], allowed: dict[str, calls.Allowed]) -> None:
    """Put each call to the command that was running, and judge it."""
    label = watched = ""
    for call in calls.calls(traces):
        if call.watched != watched:  # another process; what it does to begin with is its own
            label, watched = "", call.watched
        if call.name == "access" and call.paths[0].startswith("/hostile"):
            label = os.path.basename(call.paths[0]) if call.paths[0] != "/hostile" else ""
        elif label in runs and (fault := allowed[label].fault(call)):
            runs[label].faults.append(fault)


def prepared(folder: Path) -> Known:
    """Make the sound files that go along with hostile ones."""
    from cli_jobs import write_files

    sound = write_files(folder / "sound")
    # The list of fonts is made once for a user, by asking the system's own program for it.
    subprocess.run(
        [sys.executable, "-c", "import matplotlib.font_manager"],
        env={**os.environ, "MPLCONFIGDIR": str(folder / "matplotlib")},
        check=True,
    )
    return Known(str(folder), str(sound.boundary), str(sound.log))


def working_strace() -> bool:
    """Whether this machine has the watch and lets it watch."""
    with tempfile.TemporaryDirectory() as folder:
        command = [*calls.COMMAND, "-o", f"{folder}/trace", "true"]
        try:
            return subprocess.run(command, capture_output=True, check=False).returncode == 0
        except OSError:
            return False
