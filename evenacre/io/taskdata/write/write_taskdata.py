"""Write fields, their zones and planned rates as ISO 11783-10 task data."""

from __future__ import annotations

import hashlib
import os
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from xml.etree.ElementTree import Element

from evenacre.errors import InputError
from evenacre.io.result_folder.exchange import NEW, flush, flush_tree
from evenacre.io.result_folder.staging import parents_made
from evenacre.io.result_folder.workplace import workplace
from evenacre.io.taskdata.folder import open_taskdata
from evenacre.io.taskdata.subject import Subject
from evenacre.io.taskdata.tree import read_root
from evenacre.io.taskdata.write.elements import FROM_OFFICE, SOFTWARE, to_bytes
from evenacre.io.taskdata.write.prescriptions import PlannedTask, task_tree
from evenacre.processes.written import Written

__all__ = ["PlannedTask", "check_replaceable_zip", "write_tasks", "write_tree"]

_FIRST = (1980, 1, 1, 0, 0, 0)  # the oldest date a zip can hold, so that equal input is equal


def write_tasks(target: Path, tasks: Sequence[PlannedTask], *, farm: str = "") -> None:
    """Write planned tasks, their fields and products as one set of task data version 4.

    Parameters
    ----------
    target : Path
        A zip.
    tasks : sequence of PlannedTask
        Fields of one name are one field.

    Raises
    ------
    InputError
        When a field has no boundary, a rate cannot be, or there is no room to write.
    """
    write_tree(target, task_tree(tasks, farm))


def write_tree(target: Path, root: Element) -> None:
    """Write a tree as a zip of task data, which appears whole or not at all.

    Raises
    ------
    InputError
        When there is no room to write.
    """
    target = Path(os.path.abspath(target))
    main = to_bytes(root)
    info = zipfile.ZipInfo("TASKDATA/TASKDATA.XML", _FIRST)
    info.compress_type = zipfile.ZIP_DEFLATED
    info.external_attr = 0o644 << 16
    try:
        with parents_made(target), workplace(target, Written()) as job:
            with zipfile.ZipFile(job / NEW, "w") as archive:
                archive.writestr(info, main)
                archive.comment = _seal({info.filename: main})
            flush_tree(job)
            (job / NEW).replace(target)
            flush([target.parent])
    except OSError as error:
        what = f"it cannot be written ({error.strerror})."
        raise InputError.at(target, "", what, "Write somewhere else.") from None


def check_replaceable_zip(target: Path, remedy: str) -> None:
    """Refuse to write over anything but a plan written here that no machine has worked with.

    Parameters
    ----------
    remedy : str
        Said in the complaint.

    Raises
    ------
    InputError
    """
    if not os.path.lexists(target):
        return
    try:
        root = read_root(open_taskdata(target), Subject(""))
    except InputError:
        root = None
    if root is None or root.get("ManagementSoftwareManufacturer") != SOFTWARE:
        why = "Evenacre did not write it"
    elif root.get("DataTransferOrigin") != FROM_OFFICE or root.find("TSK/TLG") is not None:
        why = "a machine has added its work to it"
    elif not _is_unchanged(target):
        raise InputError.at(
            target, "", "is there already, and was changed since Evenacre wrote it.", remedy
        )
    else:
        return
    raise InputError.at(target, "", f"is there already, and {why}.", remedy)


def _seal(files: Mapping[str, bytes]) -> bytes:
    """What the comment of a zip says of its files, by which a change is known."""
    digest = hashlib.sha256()
    for name in sorted(files):
        digest.update(f"{name} {len(files[name])}\n".encode() + files[name])
    return f"sha256 {digest.hexdigest()}".encode()


def _is_unchanged(path: Path) -> bool:
    try:
        with zipfile.ZipFile(path) as archive:
            if archive.comment:
                members = archive.infolist()
                return archive.comment == _seal({m.filename: archive.read(m) for m in members})
            # Versions that wrote no comment gave every file this date, which nothing else does.
            return all(member.date_time == _FIRST for member in archive.infolist())
    except (OSError, zipfile.BadZipFile):
        return False
