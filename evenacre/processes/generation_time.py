"""When a result is made, which a build that is to be repeated to the byte may set."""

from __future__ import annotations

import os
from datetime import UTC, datetime

from evenacre.errors import InputError

TOLD_TIME = "SOURCE_DATE_EPOCH"  # as at reproducible-builds.org
"""The variable of the environment that says it."""


def generation_time() -> datetime:
    """Return the time to write into a result: now, or what ``SOURCE_DATE_EPOCH`` says."""
    said = os.environ.get(TOLD_TIME)
    if not said:
        return datetime.now(UTC)
    try:
        return datetime.fromtimestamp(int(said), UTC)
    except (ValueError, OverflowError, OSError):
        raise InputError.at(
            TOLD_TIME, "", f'"{said}" is no time.', "Give whole seconds since 1970, or unset it."
        ) from None
