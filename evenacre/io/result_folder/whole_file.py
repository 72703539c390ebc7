"""One file that appears whole or not at all."""

from __future__ import annotations

import os
import tempfile
from contextlib import suppress
from pathlib import Path

from evenacre.io.result_folder.exchange import flush


def write_whole(path: Path, content: bytes, *, private: bool = False) -> None:
    """Put a file in its place whole, however the machine stops meanwhile.

    A file that is there keeps who may read it; a ``private`` one is for its owner alone.
    """
    number, name = tempfile.mkstemp(prefix=".evenacre-", dir=path.parent)
    try:
        with os.fdopen(number, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        if not private:
            os.chmod(name, path.stat().st_mode & 0o777 if path.exists() else 0o644)
        os.replace(name, path)
    except BaseException:
        with suppress(OSError):
            os.unlink(name)
        raise
    flush([path.parent])
