"""Run commands one after another in one process that is being watched.

Standard input brings one command a line, ``[label, folder, arguments]``; standard output
answers each with ``[exit code, seconds]``. Between the two, the operating system sees who is
at work: nothing but this process asks whether it may reach ``/hostile/<label>``.
"""

from __future__ import annotations

import gc
import importlib
import json
import os
import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path

import click.utils


def run(main: Callable[[], None], arguments: list[str]) -> int:
    """One command, as if it had been typed."""
    sys.argv = ["evenacre", *arguments]
    try:
        main()
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else int(bool(end.code))
    except BaseException:  # what a process of its own would die of
        traceback.print_exc()
        return 1
    return 0


def serve(program: str, said: Path) -> None:
    """Run every command of a program asked for; what each says goes to a file."""
    main = importlib.import_module(program).main
    # As on a terminal: what would reach one is to be seen.
    click.utils.should_strip_ansi = lambda *_: False
    answers = os.fdopen(os.dup(1), "w")
    for line in sys.stdin:
        label, folder, arguments = json.loads(line)
        os.chdir(folder)
        words = os.open(said, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(words, 1)
        os.dup2(words, 2)
        os.close(words)
        os.access(f"/hostile/{label}", os.F_OK)
        begun = time.monotonic()
        code = run(main, arguments)
        sys.stdout.flush()
        sys.stderr.flush()
        gc.collect()
        gc.freeze()  # what is left, modules above all, need not be looked through each time
        os.access("/hostile/", os.F_OK)
        print(json.dumps([code, time.monotonic() - begun]), file=answers, flush=True)


if __name__ == "__main__":
    serve(sys.argv[1], Path(sys.argv[2]))
