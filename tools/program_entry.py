"""Where the program that is one file begins; `program.py` makes it."""

from __future__ import annotations

import multiprocessing
import runpy
import sys


def main() -> None:
    given = sys.argv[1:]
    if given[:1] == ["-P"]:
        given = given[1:]
    if given[:1] == ["-m"]:
        # The process that opens maps, and shortcuts, ask a Python for a module; this is theirs.
        sys.argv = given[1:]
        runpy.run_module(given[1], run_name="__main__", alter_sys=True)
        return
    if not given:  # double-clicked
        from platformdirs import user_documents_path

        sys.argv += ["desk", str(user_documents_path() / "My farm")]
    from evenacre.cli.main import main as command

    command()


if __name__ == "__main__":
    multiprocessing.freeze_support()
    main()
