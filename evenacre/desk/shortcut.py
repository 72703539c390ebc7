"""Something to double-click that opens the desk of a farm."""

from __future__ import annotations

import re
import shlex
import sys
from pathlib import Path

from evenacre.errors import InputError
from evenacre.io.result_folder.staging import disk_troubles_told
from evenacre.io.result_folder.whole_file import write_whole


def leave_shortcut(
    folder: Path, *, desktop: Path | None = None, system: str = sys.platform
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

    Raises
    ------
    InputError
        When it cannot be written.
    """
    home = desktop or Path.home() / "Desktop"
    folder = folder.resolve()
    if not home.is_dir():
        home = folder
    if re.search(r"[\r\n]", f"{folder}{sys.executable}"):
        what = "A folder whose name has a line's end in it cannot be named in a shortcut."
        raise InputError.at(folder, "", what, "Rename it.")
    suffix, text, mode = _written(folder, system)
    plain = re.sub(r'[<>:"/\\|?*\x00-\x1f]', "_", folder.name) or "farm"
    place = home / f"Evenacre {plain}{suffix}"
    with disk_troubles_told(place, "another FOLDER"):
        write_whole(place, text.encode("utf-8"))
        place.chmod(mode)
    return place


def _written(folder: Path, system: str) -> tuple[str, str, int]:
    python = sys.executable
    if system == "win32":
        words = [f'"{word}"'.replace("%", "%%") for word in (python, str(folder))]
        lines = ["@echo off", "chcp 65001 >nul"]
        lines += [f"{words[0]} -m evenacre desk {words[1]}", "if errorlevel 1 pause", ""]
        return ".bat", "\r\n".join(lines), 0o644
    if system == "darwin":
        command = shlex.join([python, "-m", "evenacre", "desk", str(folder)])
        return ".command", f"#!/bin/sh\nexec {command}\n", 0o755
    words = [_in_desktop_entry(word) for word in (python, str(folder))]
    name = folder.name.replace("\\", "\\\\")
    lines = ["[Desktop Entry]", "Type=Application", f"Name=Evenacre {name}"]
    lines += [f"Exec={words[0]} -m evenacre desk {words[1]}", "Terminal=true", ""]
    return ".desktop", "\n".join(lines), 0o755


def _in_desktop_entry(word: str) -> str:
    """Quote an argument as the Desktop Entry Specification has it, then as a string of a key."""
    quoted = re.sub(r'(["`$\\])', r"\\\1", word).replace("%", "%%")
    return f'"{quoted}"'.replace("\\", "\\\\")
