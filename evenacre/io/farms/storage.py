"""Storage of any kind that fsspec knows, by URL."""

from __future__ import annotations

from typing import Any

from evenacre.errors import InputError


def storage(url: str) -> tuple[Any, str]:
    """File system of a URL, and the path in it.

    Raises
    ------
    InputError
        When there is none of that kind, or what reads it is not installed.
    """
    import fsspec

    try:
        files, path = fsspec.core.url_to_fs(url)
    except (ImportError, ValueError) as error:
        what = f"Storage of this kind cannot be used: {error}."
        raise InputError.at(url, "", what, "Install what it names, or give a folder.") from None
    return files, str(path)
