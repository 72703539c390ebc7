"""Options that follow from what is declared elsewhere: keys of the season file, dataclasses."""

from __future__ import annotations

import dataclasses
import functools
import inspect
import typing
from collections.abc import Callable, Iterator, Mapping
from inspect import Parameter
from typing import Annotated, Any

import typer

from evenacre.workflows.typed.declared import Typed

READING = "How to read the files"


def option(panel: str, text: str, *flags: str) -> Any:
    """Return an option with its help text, shown under a heading of its own."""
    return typer.Option(*flags, help=text, rich_help_panel=panel)


@dataclasses.dataclass(frozen=True)
class SeasonKeys:
    """Keys of the season file that a command has options for.

    Annotates the ``**keywords`` of a command, which are what of them was given. Names are those
    of :data:`evenacre.io.season.from_options.OPTIONS`.
    """

    panels: Mapping[str, str]  # names by the heading they stand under
    # Help by name, where this command says it otherwise.
    texts: Mapping[str, str] = dataclasses.field(default_factory=dict)

    def parameters(self) -> Iterator[Parameter]:
        """Yield the parameters that stand for the keys."""
        from evenacre.io.season.from_options import OPTIONS

        for panel, names in self.panels.items():
            for name in names.split():
                known = OPTIONS[name]
                text = self.texts.get(name, known.text).replace("[", "\\[")  # it is no markup
                kind = list[known.kind] if known.repeats else known.kind  # type: ignore[name-defined]
                yield _keyword(name, Annotated[kind | None, option(panel, text)], None)


def with_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the options that its signature stands for.

    A parameter that is a dataclass becomes an option for each of its fields, and keywords
    annotated with `SeasonKeys` an option for each key.
    """
    hints = typing.get_type_hints(command, include_extras=True)
    parameters: list[Parameter] = []
    grouped: dict[str, tuple[Any, list[str]]] = {}
    of_season: list[str] = []
    for name, parameter in inspect.signature(command).parameters.items():
        hint = hints[name]
        if parameter.kind is Parameter.VAR_KEYWORD:
            keys = list(hint.__metadata__[0].parameters())
            of_season = [key.name for key in keys]
            parameters += keys
        elif dataclasses.is_dataclass(hint):
            types = typing.get_type_hints(hint, include_extras=True)
            fields = dataclasses.fields(hint)
            grouped[name] = hint, [field.name for field in fields]
            parameters += [
                _keyword(f.name, _typed(f.name, types[f.name]), f.default) for f in fields
            ]
        else:
            parameters.append(_keyword(name, hint, parameter.default))

    @functools.wraps(command)
    def run(**given: Any) -> None:
        for name, (kind, names) in grouped.items():
            given[name] = kind(**{key: given.pop(key) for key in names})
        for name in of_season:
            if given[name] in (None, []):  # it was not given
                del given[name]
        command(**given)

    run.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    run.__annotations__ = {parameter.name: parameter.annotation for parameter in parameters}
    return run


def _typed(name: str, annotation: Any) -> Any:
    """Turn what declares a typed option into an option of the command line."""
    kind, declared = annotation.__origin__, annotation.__metadata__[0]
    if not isinstance(declared, Typed):
        return annotation
    flags = [declared.flag] if declared.flag else []
    if kind is bool and not flags:
        flags = [f"--{name.replace('_', '-')}"]  # it has no opposite
    panel = declared.heading or None
    return Annotated[kind, typer.Option(*flags, help=declared.text, rich_help_panel=panel)]


def _keyword(name: str, annotation: Any, default: Any) -> Parameter:
    return Parameter(name, Parameter.KEYWORD_ONLY, default=default, annotation=annotation)
