"""Something to double-click that opens the desk of a farm."""

from __future__ import annotations

import re
import shlex
import sys
from pathlib import Path

from platformdirs import user_desktop_path

from evenacre.errors import InputError
from evenacre.io.result_folder.staging import disk_troubles_told
from evenacre.io.result_folder.whole_file import write_whole


def leave_shortcut(
    folder: Path,
    *,
    desktop: Path | None = None,
    system: str = sys.platform,
    on_network: bool = False,
) -> Path:
    """Write a shortcut for this system and return its place.

    Parameters
    ----------
    folder : Path
        The farm's.
    desktop : Path, optional
        Where icons are; the user's desktop, or the farm's folder where there is none.
    system : str
        As ``sys.platform`` names it.
    on_network : bool
        It opens the desk to the network too.

    Raises
    ------
    InputError
        When it cannot be written.
    """
    home = desktop or user_desktop_path()
    folder = folder.resolve()
    if not home.is_dir():
        home = folder
    if re.search(r"[\r\n]", f"{folder}{sys.executable}"):
        what = "A folder whose name has a line's end in it cannot be named in a shortcut."
        raise InputError.at(folder, "", what, "Rename it.")
    suffix, text, mode = _written(folder, system, on_network)
    plain = re.sub(r'[<>:"/\\|?*\x00-\x1f]', "_", folder.name) or "farm"
    place = home / f"Evenacre {plain}{suffix}"
    with disk_troubles_told(place, "another FOLDER"):
        write_whole(place, text.encode("utf-8"))
        place.chmod(mode)
    return place


def _written(folder: Path, system: str, on_network: bool) -> tuple[str, str, int]:
    words = [sys.executable, "-m", "evenacre", "desk", str(folder)]
    words += ["--on-network"] if on_network else []
    if system == "win32":
        line = " ".join(f'"{word}"'.replace("%", "%%") for word in words)
        lines = ["@echo off", "chcp 65001 >nul", line, "if errorlevel 1 pause", ""]
        return ".bat", "\r\n".join(lines), 0o644
    if system == "darwin":
        return ".command", f"#!/bin/sh\nexec {shlex.join(words)}\n", 0o755
    line = " ".join(map(_in_desktop_entry, words))
    name = folder.name.replace("\\", "\\\\")
    lines = ["[Desktop Entry]", "Type=Application", f"Name=Evenacre {name}"]
    lines += [f"Exec={line}", "Terminal=true", ""]
    return ".desktop", "\n".join(lines), 0o755


def _in_desktop_entry(word: str) -> str:
    """Quote an argument as the Desktop Entry Specification has it, then as a string of a key."""
    quoted = re.sub(r'(["`$\\])', r"\\\1", word).replace("%", "%%")
    return f'"{quoted}"'.replace("\\", "\\\\")
