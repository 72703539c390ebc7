"""Names that columns of logs go by."""

from __future__ import annotations

import re

from evenacre.io.logs.columns.headers import Header

GUESSES: dict[str, tuple[str, ...]] = {
    "lon": (r"^(lon|long|longitude|lng)$", r"(^|_)(lon|long|longitude|lng)(_|$)"),
    "lat": (r"^(lat|latitude)$", r"(^|_)(lat|latitude)(_|$)"),
    "x": (r"^(x|easting|east)(_|$)", r"(^|_)(x|easting|utm_e)(_|$)"),
    "y": (r"^(y|northing|north)(_|$)", r"(^|_)(y|northing|utm_n)(_|$)"),
    "start": (r"^(start|begin)(_?(time|at|utc))?$", r"^time_(start|begin)$"),
    "end": (r"^(end|stop|finish)(_?(time|at|utc))?$", r"^time_(end|stop)$"),
    "interval": (
        r"^(interval|duration|seconds|secs|dt|delta_t|cycle|cycle_time)(_|$)",
        r"(^|_)(interval|duration)(_|$)",
    ),
    "time": (
        r"^(time_?stamp|date_?time|iso_?time|time_iso|ts|iso|iso_?8601)(_|$)",
        r"^(time|utc|gps_?time|local_time|time_of_day)(_(utc|local|s|ms|sec|seconds|gps|iso))?$",
        r"(^|_)(time|time_?stamp|date_?time|elapsed|since|epoch|unix|utc|utctime)(_|$)",
    ),
    "date": (r"^date(_|$)", r"(^|_)date$"),
    "speed": (r"^(speed|velocity|spd)(_|$)", r"(^|_)(speed|velocity|spd|vel)(_|$)"),
    "heading": (
        r"^(heading|course|bearing|cog|azimuth|hdg)(_|$)",
        r"(^|_)(heading|course|bearing|cog|azimuth|hdg)(_|$)",
        r"^(track|direction)(_(deg|degrees?|true))?$",
    ),
    "work": (
        r"^(work|working|worked|in_work|work_?(state|status)|working_(state|status))$",
        r"^(implement|tool|drill|master|product|apply|applying|application)_"
        r"(state|status|switch|on|active|engaged)$",
        r"^(engaged|applying|on_off|active)(_state)?$",
    ),
    "width": (r"(^|_)(width|swath|swth|wdth)(_|$)",),
    "distance": (r"^(distance|dist)(_|$)", r"(^|_)(distance|dist|moved)(_|$)"),
    "machine": (
        r"^(machine|vehicle|tractor|equipment|device)(_?(id|name|serial|no|nr|number))?$",
        r"^(implement|drill|unit|serial)_(id|name|serial|no|nr|number)$",
    ),
    "sections": (r"^(section|boom)s?_?(state|status|switch|bit)s?$", r"^sections(_on)?$"),
    "rows": (r"^(row|opener)s?_?(state|status|switch|bit)s?$", r"^rows(_on)?$"),
}
"""Patterns of names by role, the surest first, over words joined by ``_``."""

NOT_LOGGED = {
    *("target", "tgt", "trgt", "set", "setpoint", "planned", "prescribed", "prescription", "rx"),
    *("desired", "requested", "required", "limit", "max", "maximum", "min", "minimum", "total"),
}
"""A column with one of these words is about something wanted or summed, not logged."""

_FOREIGN = {
    "speed": {"fan", "wind", "rotor", "meter", "metering", "roller", "engine"},
    "width": {"row", "tram", "spacing"},
    "interval": {"since", "elapsed", "epoch"},
}
RATE_WORDS = {"rate", "rt", "applied", "apd", "appl", "app", "as", "actual", "act", "application"}
FLOW_WORDS = {"flow", "mass", "massflow", "rate", "actual"}
SURE_WORDS = {"rate": {"rate", "applied", "apd"}, "flow": {"flow", "massflow"}}
NUMBERED = re.compile(
    r"^(section|sect|sec|boom|tower|row|opener)_?(\d+)(_(state|status|on|active|work))?$"
)


def first_match(role: str, patterns: tuple[str, ...], headers: list[Header]) -> Header | None:
    """Find the column whose name fits a role best."""
    for pattern in patterns:
        for header in headers:
            for name in header.spellings:
                words = set(name.split("_"))
                foreign = NOT_LOGGED | _FOREIGN.get(role, set())
                if re.search(pattern, name) and not words & foreign:
                    return header
    return None
