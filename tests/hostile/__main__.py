"""Write every hostile file into a folder: ``python -m hostile FOLDER [all]``, from ``tests``."""

from __future__ import annotations

import sys
from pathlib import Path

from hostile.cases import Place
from hostile.corpus import FAMILIES


def main(folder: Path) -> None:
    """Each case has a folder of its own, below that of its family."""
    for family, cases in FAMILIES.items():
        for number, case in enumerate(cases()):
            place = Place(folder / family / f"{number:03}", folder / "elsewhere", 9)
            place.folder.mkdir(parents=True)
            print(f"{place.folder / case.make(place)}: {case.name}, as {case.role}")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
