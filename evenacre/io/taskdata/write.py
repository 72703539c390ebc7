"""Write fields, their zones and planned rates as ISO 11783-10 task data."""

from __future__ import annotations

import os
import tempfile
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from xml.etree.ElementTree import Element

from evenacre.errors import InputError
from evenacre.io.table import Findings
from evenacre.io.taskdata.elements import FROM_OFFICE, SOFTWARE, to_bytes
from evenacre.io.taskdata.folder import open_taskdata
from evenacre.io.taskdata.plan_out import PlannedTask, RateGrid, task_tree
from evenacre.io.taskdata.tree import read_root
from evenacre.model import Field, PlannedRate

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


def _to_zip(target: Path, files: Mapping[str, bytes]) -> Path:
    """Write a zip that appears whole or not at all."""
    target.parent.mkdir(parents=True, exist_ok=True)
    handle, draft = tempfile.mkstemp(dir=target.parent, prefix=".taskdata-", suffix=".zip")
    try:
        with os.fdopen(handle, "wb") as stream, zipfile.ZipFile(stream, "w") as archive:
            for name in sorted(files):
                info = zipfile.ZipInfo(f"{_FOLDER}/{name}", _FIRST)
                info.compress_type = zipfile.ZIP_DEFLATED
                info.external_attr = 0o644 << 16
                archive.writestr(info, files[name])
        os.chmod(draft, 0o644)
        os.replace(draft, target)
    except BaseException:
        Path(draft).unlink(missing_ok=True)
        raise
    return target


def _to_folder(target: Path, files: Mapping[str, bytes]) -> Path:
    folder = target if target.name.upper() == _FOLDER else target / _FOLDER
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError.at(
            folder, "", "there is something in it already.", "Name a new folder, or empty it."
        )
    folder.mkdir(parents=True, exist_ok=True)
    # The main file comes last: without it the folder is no task data.
    for name in sorted(files, key=lambda name: (name == "TASKDATA.XML", name)):
        (folder / name).write_bytes(files[name])
    return folder
