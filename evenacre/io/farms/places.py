"""Farms in a folder, on an object store or in a list, and their files brought to this machine."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any
from urllib.parse import unquote

from evenacre.errors import InputError
from evenacre.io.farms.storage import storage

SEASON = "season.toml"
_LIST = ".txt"


@dataclass(frozen=True)
class FarmPlace:
    """Where the files of a farm lie.

    Attributes
    ----------
    name : str
        The way from what was given to it: no two have the same.
    url : str
        Of its folder or zip, for fsspec.
    season : str
        Name of its season file; empty where there is none, and one has to be gathered.
    """

    name: str
    url: str
    season: str


def farms_at(where: str) -> list[FarmPlace]:
    """Find farms, in the order of their names.

    A farm is a folder with ``season.toml``; beside such, a folder or zip without any is one whose
    season is to be gathered. A ``.txt`` file lists farms, one a line, by path or URL.

    Parameters
    ----------
    where : str
        Path or URL of a folder, a season file, or a list.

    Raises
    ------
    InputError
        When there is nothing, or storage of that kind cannot be read.
    """
    if where.endswith(_LIST):
        return _listed(where)
    files, root = storage(where)
    if not files.exists(root):
        raise InputError.at(where, "", "There is no such folder.", "Give the folder of the farms.")
    if not files.isdir(root):  # on the web every folder is a file too
        folder, _, name = root.rpartition("/")
        return [FarmPlace(PurePosixPath(folder).name, files.unstrip_protocol(folder), name)]
    root = root.rstrip("/")
    below = sorted(path.removeprefix(f"{root}/") for path in files.find(root))
    seasons = {str(PurePosixPath(p).parent) for p in below if PurePosixPath(p).name == SEASON}
    found = dict.fromkeys(seasons, SEASON)
    for path in below:
        top, _, rest = path.partition("/")
        beside = rest or top.lower().endswith(".zip")
        if beside and not any(s in (top, ".") or s.startswith(f"{top}/") for s in seasons):
            found.setdefault(top, "")
    if not found:
        what = "There is no farm in it: no folder with a season.toml, and no folder or zip of logs."
        raise InputError.at(where, "", what, "Give the folder in which the farms' folders lie.")
    home = PurePosixPath(root)
    return [
        FarmPlace(
            home.name if folder == "." else folder,
            files.unstrip_protocol(root if folder == "." else f"{root}/{folder}"),
            season,
        )
        for folder, season in sorted(found.items())
    ]


def _listed(where: str) -> list[FarmPlace]:
    files, path = storage(where)
    try:
        lines = files.cat_file(path).decode("utf-8-sig").splitlines()
    except (FileNotFoundError, UnicodeDecodeError):
        what = "There is no such list of farms, or it is not text in UTF-8."
        remedy = "Give a file with the path of a farm a line."
        raise InputError.at(where, "", what, remedy) from None
    home = path.rpartition("/")[0]
    found = []
    for number, line in enumerate(lines, 1):
        url = line.strip()
        if not url or url.startswith("#"):
            continue
        if "://" not in url and not url.startswith("/"):
            url = files.unstrip_protocol(f"{home}/{url}")
        url = url.rstrip("/")
        there, at = storage(url)
        if not there.exists(at):
            raise InputError.at(where, f"line {number}", f"{url} is not there.", "Mend the line.")
        if url.endswith(".toml"):
            folder, _, season = url.rpartition("/")
            found.append(FarmPlace(line.strip(), folder, season))
        else:
            season = SEASON if there.exists(f"{at}/{SEASON}") else ""
            found.append(FarmPlace(line.strip(), url, season))
    if not found:
        raise InputError.at(where, "", "It lists no farm.", "Write the path of a farm a line.")
    return list({place.name: place for place in found}.values())


@dataclass(frozen=True)
class AtHand:
    """Files of a farm on this machine.

    Attributes
    ----------
    path : Path
        Of its season file, or of its folder or zip.
    scratch : TemporaryDirectory or None
        Where a copy lies; it goes with whoever holds this.
    """

    path: Path
    scratch: tempfile.TemporaryDirectory[str] | None = None


def at_hand(farm: FarmPlace, *, whole: bool = True) -> AtHand:
    """Files of a farm on this machine: what lies elsewhere is copied, the season alone or whole."""
    files, path = storage(farm.url)
    if _is_local(files):
        return AtHand(Path(path, farm.season))
    scratch = tempfile.TemporaryDirectory(prefix="evenacre-farm-")
    place = Path(scratch.name, PurePosixPath(path).name)
    if whole:
        _copy(files, path, place)
    else:
        place.mkdir()
        files.get_file(f"{path}/{farm.season}", str(place / farm.season))
    return AtHand(place / farm.season, scratch)


def _copy(files: Any, path: str, place: Path) -> None:
    """Copy a file, or all below a folder, many at a time; names of the web as they were."""
    if not files.isdir(path):
        files.get_file(path, str(place))
        return
    there = files.find(path)
    web = "http" in files.protocol
    names = [url.removeprefix(path).strip("/") for url in there]
    here = [place / (unquote(name) if web else name) for name in names]
    for url, copy in zip(there, here, strict=True):
        if ".." in copy.parts:
            remedy = "Name it otherwise."
            raise InputError.at(url, "", "It would lie outside of the farm's folder.", remedy)
        copy.parent.mkdir(parents=True, exist_ok=True)
    files.get(there, [str(copy) for copy in here])


def _is_local(files: Any) -> bool:
    return "file" in (files.protocol if isinstance(files.protocol, tuple) else (files.protocol,))
