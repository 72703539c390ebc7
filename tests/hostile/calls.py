"""What a watched process asked of the operating system."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

_CHANGES = {
    *("rename", "renameat", "renameat2", "unlink", "unlinkat", "mkdir", "mkdirat", "rmdir"),
    *("link", "linkat", "symlink", "symlinkat", "truncate", "ftruncate", "mknod", "mknodat"),
    *("chmod", "fchmod", "fchmodat", "chown", "fchown", "lchown", "fchownat", "utime", "utimes"),
    *("utimensat", "futimesat", "setxattr", "lsetxattr", "fsetxattr"),
}
_OPENS = {"open", "openat", "openat2", "creat"}
_NET = {"socket", "connect", "bind", "sendto", "sendmsg", "sendmmsg"}
_RUNS = {"execve", "execveat"}
# Ways around this watch, or out of the process; none has a use here.
_NEVER = {
    *("io_uring_setup", "ptrace", "process_vm_writev", "mount", "chroot", "pivot_root"),
    *("open_by_handle_at", "init_module", "bpf", "unshare", "setns"),
}
_WRITING = ("O_WRONLY", "O_RDWR", "O_CREAT", "O_TRUNC", "O_APPEND", "O_TMPFILE")

COMMAND = [
    *("strace", "-f", "-ff", "-ttt", "-y", "-qq", "-s", "4096", "--seccomp-bpf", "-e"),
    "trace=access,"
    + ",".join(f"?{name}" for name in sorted(_CHANGES | _OPENS | _NET | _RUNS | _NEVER)),
]
"""The watch, to be followed by ``-o FILES`` and the command to be watched."""

_LINE = re.compile(r"^(\d+\.\d+) (\w+)\((.*)$")
_STRING = re.compile(r'"((?:[^"\\]|\\.)*)"')
_AT = re.compile(r"(?:AT_FDCWD|\d+)<([^>]*)>, $")
_RESULT = re.compile(r"\) += (-?\d+|\?)(?:<(.*)>)?")
_DESCRIPTOR = re.compile(r"^\d+<(.*?)>[,)]")


@dataclass(frozen=True)
class Call:
    """One call: under which watch, when, which, its text, the files it names, how it ended."""

    watched: str
    time: float
    name: str
    text: str
    paths: tuple[str, ...]
    worked: bool


def calls(files: list[Path]) -> list[Call]:
    """Every call of every process and thread, in the order of time."""
    return sorted((call for file in files for call in _read(file)), key=lambda c: c.time)


def _read(file: Path) -> Iterator[Call]:
    folder = ""
    for line in file.read_text(errors="replace").splitlines():
        match = _LINE.match(line)
        if not match:
            continue
        stamp, name, rest = match.groups()
        result = _RESULT.search(rest)
        paths = []
        for string in _STRING.finditer(rest):
            path = string[1].encode("latin-1", "replace").decode("unicode_escape")
            path = path.encode("latin-1", "replace").decode("utf-8", "surrogateescape")
            at = _AT.search(rest[: string.start()])
            folder = at[1] if at and "AT_FDCWD" in rest[: string.start()] else folder
            paths.append(os.path.normpath(os.path.join(at[1] if at else folder, path)))
            if name in _RUNS:
                break
        if not paths and (descriptor := _DESCRIPTOR.match(rest)):
            paths.append(descriptor[1])
        if name in _OPENS and result and result[2]:
            paths = [result[2].removesuffix("<char 0:0>")]
        worked = result is not None and not result[1].startswith("-")
        yield Call(
            file.name.partition(".")[0], float(stamp), name, f"{name}({rest}", tuple(paths), worked
        )


@dataclass(frozen=True)
class Allowed:
    """Where a watched process may read and write, what it may not read there, what it may run."""

    reads: tuple[str, ...]
    writes: tuple[str, ...]
    secret: str
    python: str

    def fault(self, call: Call) -> str | None:
        """Say what is wrong with a call, or None."""
        if call.name in _NEVER:
            return f"asked for {call.text}"
        if call.name in _NET:
            return self._called(call)
        if call.name in _RUNS:
            own = any(os.path.realpath(path) == self.python for path in call.paths)
            return None if own or not call.worked else f"ran {call.text}"
        if call.name in _CHANGES or any(flag in call.text for flag in _WRITING):
            if not call.worked and (
                "EEXIST" in call.text or (call.name in _OPENS and "O_CREAT" not in call.text)
            ):
                return None  # there was nothing to change
            astray = [path for path in call.paths if not _within(path, self.writes)]
            return f"changed {', '.join(astray)}: {call.text}" if astray else None
        if call.name in _OPENS and call.worked and "O_DIRECTORY" not in call.text:
            for path in call.paths:
                if not path.startswith("/"):  # what is behind a descriptor: a pipe, say
                    continue
                kept = path.startswith(self.secret)
                if kept or not _within(path, self.reads + self.writes):
                    return f"read {path}"
        return None

    def _called(self, call: Call) -> str | None:
        if call.name == "socket":
            return None if call.text.startswith("socket(AF_UNIX") else f"opened {call.text}"
        if "sa_family=" not in call.text:  # over a connection there is already
            return None
        own = "sa_family=AF_UNIX" in call.text and (
            'sun_path=@"' in call.text or all(_within(p, self.writes) for p in call.paths)
        )
        return None if own else f"called {call.text}"


def _within(path: str, places: tuple[str, ...]) -> bool:
    """Whether a path is one of these, in one of these, or begins like one that ends in a star."""
    return any(
        path.startswith(place[:-1])
        if place.endswith("*")
        else path == place or path.startswith(place.rstrip("/") + "/")
        for place in places
    )
