"""Season files that name what is not theirs, or ask for more than a season."""

from __future__ import annotations

from collections.abc import Callable

from hostile.cases import Case, Known, Place, season_text, texts

_PLACES = {
    "password file": "/etc/passwd",
    "shadow file": "/etc/shadow",
    "above": "../../../../../../../../etc/passwd",
    "home": "@HOME@/secret.geojson",
    "share": "\\\\\\\\127.0.0.1\\\\share\\\\a.geojson",
    "share with slashes": "//127.0.0.1/share/a.geojson",
    "file address": "file:///etc/passwd",
    "address": "@URL@/a.geojson",
    "curl": "/vsicurl/@URL@/a.geojson",
    "zip of an address": "/vsizip//vsicurl/@URL@/a.zip",
    "memory": "/vsimem/a.geojson",
    "input": "/vsistdin/",
    "database": "PG:host=127.0.0.1 port=1",
    "service": "WFS:@URL@/wfs",
    "environment": "$HOME/secret.geojson",
    "environment in braces": "${HOME}/secret.geojson",
    "environment in percents": "%HOME%/secret.geojson",
    "tilde": "~/secret.geojson",
    "another's tilde": "~root/.bashrc",
    "pattern": "*.geojson",
    "command": "$(cat secret-neighbour.geojson)",
    "pipe": "|cat secret-neighbour.geojson",
    "recipe": '{\\"type\\": \\"gdal_streamed_alg\\", '
    '\\"command_line\\": \\"gdal vector convert @SECRET@ @VICTIM@\\"}',
    "layer in the text": '{\\"type\\":\\"Point\\",\\"coordinates\\":[0,0]}',
    "wrapped": "<OGRVRTDataSource><OGRVRTLayer name='secret-neighbour'><SrcDataSource>@SECRET@"
    "</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>",
    "zero": "a\\u0000b.geojson",
    "newline": "a\\nb.geojson",
    "controls": "\\u001b[2J\\u202e.geojson",
    "nothing": "",
    "dot": ".",
    "long": "a" * 100_000,
    "deep": "a/" * 5_000 + "a.geojson",
    "device": "/dev/zero",
    "kernel": "/proc/self/mem",
    "environment of the process": "/proc/self/environ",
    "itself": "season.toml",
}
_KEYS: dict[str, str] = {
    "boundary": "boundary",
    "unworkable": "field",
    "zones": "field",
    "setbacks": "field",
    "tracks": "tracks",
    "blockages": "operation",
    "loads": "operation",
}
_SOUND = Known("", "sound.geojson", "sound.csv")
_READS = ("/etc/passwd", "/etc/shadow", "/root/.bashrc", "/dev", "/proc")


def _line(key: str, name: str) -> str:
    if key == "tracks":
        return f'tracks = [ "{name}" ]'
    if key == "setbacks":
        return f'setbacks = {{ file = "{name}", distance = "100 ft" }}'
    if key in ("blockages", "loads"):
        return f'{key} = "{name}"'
    return f'{key} = {{ file = "{name}" }}'


def _season(text: str) -> Callable[[Place], str]:
    """A season file with sound files beside it."""

    def make(at: Place) -> str:
        from hostile.cases import collection
        from hostile.logs import _drive

        at.write("sound.geojson", collection())
        at.write("sound.csv", _drive(60))
        return at.write("season.toml", text)

    return make


def _with(**lines: str) -> Callable[[Place], str]:
    return _season(season_text(_SOUND, **lines))


_VALUES = {
    "wide drill": ('width = "6.096 m"', 'width = "1000000 m"'),
    "endless drill": ('width = "6.096 m"', 'width = "1e308 m"'),
    "narrow drill": ('width = "6.096 m"', 'width = "1e-9 m"'),
    "rows": ("rows = 8", "rows = 1000000000"),
    "towers": ("rows_per_tower = 4", "rows_per_tower = 1000000000000000000000"),
    "code in a width": ('width = "6.096 m"', "width = \"__import__('os').system('id') m\""),
    "power in a width": ('width = "6.096 m"', 'width = "9**9**9 m"'),
    "brackets in a width": ('width = "6.096 m"', f'width = "{"(" * 20_000}6 m"'),
    "digits in a width": ('width = "6.096 m"', f'width = "{"6" * 1_000_000} m"'),
    "far delay": ("rows = 8", 'rows = 8\ndelay = "1e12 s"'),
    "far antenna": ("rows = 8", 'rows = 8\nantenna_ahead = "1e9 m"'),
    "long tow": ("rows = 8", 'rows = 8\ntow = [ { hitch_to_axle = "1e9 m" } ]'),
    "many towed": (
        "rows = 8",
        "rows = 8\ntow = [ " + '{ hitch_to_axle = "5 m", axle_to_pin = "1 m" }, ' * 3000 + "]",
    ),
    "rate": ('"100 kg/ha"', '"1e308 kg/ha"'),
    "date": ("2026-04-14", "9999-12-31"),
    "early date": ("2026-04-14", "0001-01-01"),
    "name with controls": ('"Home"', '"\\u001b[2J\\u202eHome"'),
    "name of a path": ('"Home"', '"../../../@HOME@/new"'),
    "name of a device": ('"Home"', '"CON"'),
    "name of markup": ('"Home"', '"<script src=@URL@></script>"'),
    "long name": ('"Home"', f'"{"a" * 1_000_000}"'),
    "operation of a path": ('"Seeding"', '"../../new"'),
    "operation named by dots": ('"Seeding"', '".."'),
}
_SETTINGS = {
    "fine skips": 'skip_min_width = "1e-12 m"\nskip_min_area = "1e-12 m2"',
    "rounds": "headland_rounds = 1000000000",
    "gap": 'max_gap = "1e300 s"',
    "no speed": 'max_speed = "1e-300 m/s"',
}
_TEXTS: list[tuple[str, str | bytes]] = [
    ("deep arrays.toml", "a = " + "[" * 100_000),
    ("deep tables.toml", "a = " + "{ a = " * 50_000),
    ("dotted.toml", "a." * 50_000 + "a = 1"),
    ("dotted header.toml", "[" + "a." * 50_000 + "a]"),
    ("long number.toml", "a = " + "9" * 1_000_000),
    ("long text.toml", 'farm = "' + "a" * 50_000_000 + '"'),
    ("many keys.toml", "".join(f"k{i} = 1\n" for i in range(300_000))),
    ("many tables.toml", "[[field]]\n" * 100_000),
    ("comments.toml", "# a\n" * 2_000_000),
    ("noise.toml", bytes(i * 31 % 256 for i in range(100_000))),
    ("zeros.toml", b"\0" * 1_000_000),
    ("utf-16.toml", 'farm = "a"'.encode("utf-16")),
    ("date.toml", "a = 99999-99-99"),
    ("key with controls.toml", '"\\u001b[2J" = 1'),
    ("code.toml", "!!python/object/apply:os.system ['touch written']"),
    ("time zone.toml", 'time_zone = "../../../../etc/passwd"\n'),
    ("time zone of an address.toml", 'time_zone = "@URL@"\n'),
    ("absolute time zone.toml", 'time_zone = "@HOME@/secret.geojson"\n'),
    ("currency.toml", f'currency = "{"a" * 100_000}"\n'),
]


def cases() -> list[Case]:
    """Names in every key, values without bounds, texts that are hard to read."""
    numbered = [(place, key) for place in _PLACES for key in _KEYS]
    found = [
        Case(
            f"season {key} at {place}",
            "season",
            _with(**{_KEYS[key]: _line(key, _PLACES[place])}),
            (*_READS, *(("@HOME@/secret.geojson",) if place == "home" else ())),
            # Each place is tried in every key in the long run, in two of them always.
            heavy=(list(_PLACES).index(place) + list(_KEYS).index(key)) % 4 != 0,
        )
        for place, key in numbered
    ]
    text = season_text(_SOUND)
    found += [
        Case(f"season {name}", "season", _season(text.replace(old, new)))
        for name, (old, new) in _VALUES.items()
    ]
    found += [
        Case(f"season settings of {name}", "season", _season(f"[settings]\n{lines}\n{text}"))
        for name, lines in _SETTINGS.items()
    ]
    crs = 'boundary = { file = "sound.geojson", crs = "%s" }'
    found += [
        Case(f"season system {name}", "season", _with(boundary=crs % value))
        for name, value in {
            "address": "@URL@/crs",
            "file": "secret-neighbour.geojson",
            "grid": "+proj=longlat +nadgrids=@HOME@/secret.geojson",
            "pipeline": "+proj=pipeline +step +proj=hgridshift +grids=@HOME@/secret.geojson",
            "init": "+init=@HOME@/secret.geojson:a",
            "remote grid": "+proj=longlat +nadgrids=@URL@/a.tif",
            "long": "a" * 1_000_000,
            "deep": "PROJCS[" * 20_000,
            "zero": "EPSG:4326\\u0000",
        }.items()
    ]
    found += texts("season", _TEXTS, "season text ")
    return found
