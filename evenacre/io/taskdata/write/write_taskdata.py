"""Write fields, their zones and planned rates as ISO 11783-10 task data."""

from __future__ import annotations

import hashlib
import os
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from xml.etree.ElementTree import Element

from evenacre.errors import InputError
from evenacre.io.common.findings import Findings
from evenacre.io.result_folder.exchange import NEW, flush, flush_tree
from evenacre.io.result_folder.staging import parents_made
from evenacre.io.result_folder.workplace import workplace
from evenacre.io.taskdata.folder import open_taskdata
from evenacre.io.taskdata.tree import read_root
from evenacre.io.taskdata.write.elements import FROM_OFFICE, SOFTWARE, to_bytes
from evenacre.io.taskdata.write.prescriptions import PlannedTask, RateGrid, task_tree
from evenacre.model import Field, PlannedRate
from evenacre.processes.written import Written

__all__ = ["PlannedTask", "RateGrid", "check_replaceable_zip", "write_taskdata", "write_tasks"]

_FOLDER = "TASKDATA"
_FIRST = (1980, 1, 1, 0, 0, 0)  # the oldest date a zip can hold, so that equal input is equal


def write_taskdata(
    target: Path,
    field: Field,
    *,
    product: str,
    task: str = "",
    rate_kg_per_m2: float | None = None,
    zone_rates: Mapping[str, float] | None = None,
    grid: RateGrid | None = None,
    farm: str = "",
) -> Path:
    """Write one planned task of one product, as :func:`write_tasks` does.

    Of the rates at most one kind is given: one for the field, one for each of its zones, or a
    grid. Without any, the zones are written without rates.

    Parameters
    ----------
    target : Path
    field : Field
        With a boundary.
    product, task, farm : str
        Names; that of the task is the product's when empty.
    rate_kg_per_m2 : float, optional
    zone_rates : mapping of str to float, optional
        kg per m2 for every zone of the field.
    grid : RateGrid, optional

    Raises
    ------
    ValueError
        When several kinds of rate are given.
    """
    if sum(given is not None for given in (rate_kg_per_m2, zone_rates, grid)) > 1:
        raise ValueError("give one kind of rate")
    rate = PlannedRate(product, rate_kg_per_m2, dict(zone_rates or {}))
    return write_tasks(target, [PlannedTask(task or product, field, (rate,), grid)], farm=farm)


def write_tasks(target: Path, tasks: Sequence[PlannedTask], *, farm: str = "") -> Path:
    """Write planned tasks, their fields and products as one set of task data version 4.

    Parameters
    ----------
    target : Path
        A name that ends in ``.zip``, or a folder, into which a TASKDATA folder goes.
    tasks : sequence of PlannedTask
        Fields of one name are one field.
    farm : str

    Returns
    -------
    Path
        The zip, or the folder with the files.

    Raises
    ------
    InputError
        When a field has no boundary, a rate cannot be, or there is no room to write.
    """
    return write_tree(target, *task_tree(tasks, farm))


def write_tree(target: Path, root: Element, beside: Mapping[str, bytes]) -> Path:
    """Write a tree as the main file of task data, with the files beside it.

    Parameters
    ----------
    target : Path
        As :func:`write_tasks` takes it.
    root : Element
    beside : mapping of str to bytes

    Returns
    -------
    Path
        The zip, or the folder with the files.

    Raises
    ------
    InputError
        When there is no room to write.
    """
    files = {**beside, "TASKDATA.XML": to_bytes(root)}
    target = Path(os.path.abspath(target))
    try:
        return (
            _to_zip(target, files) if target.suffix.lower() == ".zip" else _to_folder(target, files)
        )
    except OSError as error:
        raise InputError.at(
            target, "", f"it cannot be written ({error.strerror}).", "Write somewhere else."
        ) from None


def check_replaceable_zip(target: Path, remedy: str) -> None:
    """Refuse to write over anything but a plan written here that no machine has worked with.

    Parameters
    ----------
    target : Path
    remedy : str
        Said in the complaint.

    Raises
    ------
    InputError
    """
    if not os.path.lexists(target):
        return
    try:
        root = read_root(open_taskdata(target), Findings())
    except InputError:
        what = "is there already, and Evenacre did not write it."
        raise InputError.at(target, "", what, remedy) from None
    if root.get("ManagementSoftwareManufacturer") != SOFTWARE:
        what = "is there already, and Evenacre did not write it."
        raise InputError.at(target, "", what, remedy)
    if root.get("DataTransferOrigin") != FROM_OFFICE or root.find("TSK/TLG") is not None:
        what = "is there already, and a machine has added its work to it."
        raise InputError.at(target, "", what, remedy)
    if not _is_unchanged(target):
        what = "is there already, and was changed since Evenacre wrote it."
        raise InputError.at(target, "", what, remedy)


def _to_zip(target: Path, files: Mapping[str, bytes]) -> Path:
    """Write a zip that appears whole or not at all."""
    whole = {f"{_FOLDER}/{name}": files[name] for name in sorted(files)}
    with parents_made(target), workplace(target, Written()) as job:
        draft = job / NEW
        with zipfile.ZipFile(draft, "w") as archive:
            for name, content in whole.items():
                info = zipfile.ZipInfo(name, _FIRST)
                info.compress_type = zipfile.ZIP_DEFLATED
                info.external_attr = 0o644 << 16
                archive.writestr(info, content)
            archive.comment = _seal(whole)
        flush_tree(job)
        draft.replace(target)
        flush([target.parent])
    return target


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


def _to_folder(target: Path, files: Mapping[str, bytes]) -> Path:
    folder = target if target.name.upper() == _FOLDER else target / _FOLDER
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError.at(
            folder, "", "there is something in it already.", "Name a new folder, or empty it."
        )
    with parents_made(folder), workplace(folder, Written()) as job:
        fresh = job / NEW
        fresh.mkdir()
        for name, content in files.items():
            (fresh / name).write_bytes(content)
        flush_tree(fresh)
        if folder.exists():
            folder.rmdir()
        fresh.rename(folder)
    return folder
