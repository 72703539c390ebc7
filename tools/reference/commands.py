"""Every command and option, from the signatures that the command line is made of."""

from __future__ import annotations

import enum
import inspect
import types
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Literal, Union, get_args, get_origin

import typer

from evenacre.cli.main import COMMANDS
from evenacre.cli.options.derived import with_options

_PLAIN = {str: "text", int: "a whole number", float: "a number", Path: "a file or folder"}


def commands() -> str:
    """A section for each command: what it does, and its options by heading."""
    return "\n".join(line for item in COMMANDS.items() for line in _section(*item)) + "\n"


def _section(name: str, command: Callable[..., Any]) -> Iterator[str]:
    parameters = inspect.signature(with_options(command)).parameters.values()
    told = [(p, p.annotation.__metadata__[0]) for p in parameters]
    given = [p.name.upper() for p, said in told if _is_argument(said)]
    yield f"## `evenacre {name}`\n\n{inspect.getdoc(command)}\n"
    yield f"```\nevenacre {' '.join([name, *(f'[{word}]' for word in given), '[OPTIONS]'])}\n```"
    panels: dict[str, list[str]] = {}
    for parameter, said in told:
        panels.setdefault(said.rich_help_panel or "", []).append(_row(parameter, said))
    for title, rows in panels.items():
        yield f"\n**{title}**\n" if title else ""
        yield "\n".join(
            ["| option | holds | without it | what it is |", "|---|---|---|---|", *rows]
        )
    yield ""


def _is_argument(said: Any) -> bool:
    return isinstance(said, typer.models.ArgumentInfo)


def _row(parameter: inspect.Parameter, said: Any) -> str:
    kind = get_args(parameter.annotation)[0]
    flag = parameter.name.replace("_", "-")
    # What stands first in typer.Option is a name where the default is the parameter's own.
    declared = [name for name in (said.default, *(said.param_decls or ())) if isinstance(name, str)]
    names = [name for both in declared for name in both.split("/")]
    if not names:
        names = [f"--{flag}", f"--no-{flag}"] if bool in (kind, *get_args(kind)) else [f"--{flag}"]
    if _is_argument(said):
        names = [parameter.name.upper()]
    default = parameter.default
    without = "" if default in (None, False, [], ()) else f"`{getattr(default, 'value', default)}`"
    if default is ...:
        without = "needed"
    text = (said.help or "").replace("\\[", "[").replace("|", "\\|")
    return f"| {', '.join(f'`{n}`' for n in names)} | {_holds(kind)} | {without} | {text} |"


def _holds(kind: Any) -> str:
    """What an option may be given, in words."""
    origin, inner = get_origin(kind), get_args(kind)
    if origin in (types.UnionType, Union):
        return " or ".join(filter(None, (_holds(k) for k in inner if k is not types.NoneType)))
    if origin in (list, tuple):
        return f"{_holds(inner[0])}; may be repeated"
    if origin is Literal:
        return ", ".join(f"`{word}`" for word in inner)
    if isinstance(kind, type) and issubclass(kind, enum.Enum):
        return ", ".join(f"`{one.value}`" for one in kind)
    return "" if kind is bool else _PLAIN[kind]
