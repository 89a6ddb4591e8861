"""How commands are declared: like typer's, and options that belong together may be one parameter."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import MISSING, fields, is_dataclass
from inspect import Parameter, Signature, signature
from typing import Any, TypeVar, get_type_hints

import typer

C = TypeVar("C", bound=Callable[..., Any])


class Commands(typer.Typer):
    """Commands under one word. A parameter that is a dataclass stands for options: one for each of its fields."""

    def __init__(self, help: str, **more: Any) -> None:
        super().__init__(no_args_is_help=True, rich_markup_mode=None, help=help, **more)

    def command(self, name: str | None = None, **more: Any) -> Callable[[C], C]:
        """Return a decorator that registers a command and leaves its function as it is."""
        register = super().command(name, **more)

        def registered(command: C) -> C:
            register(_spread(command))
            return command

        return registered


def _spread(command: Callable[..., Any]) -> Callable[..., Any]:
    """Return `command` as typer has to see it: with the fields of each group in the place of the group."""
    hints = get_type_hints(command)
    groups = {name: kind for name, kind in hints.items() if isinstance(kind, type) and is_dataclass(kind)}

    def called(**said: Any) -> Any:
        made = {name: kind(**{one.name: said.pop(one.name) for one in fields(kind)}) for name, kind in groups.items()}
        return command(**said, **made)

    def options() -> Iterator[Parameter]:
        for parameter in signature(command, eval_str=True).parameters.values():
            if parameter.name in groups:
                yield from _options(groups[parameter.name])
            else:
                yield parameter.replace(kind=Parameter.KEYWORD_ONLY)

    called.__name__, called.__doc__ = command.__name__, command.__doc__
    called.__signature__ = Signature(list(options()))  # type: ignore[attr-defined]
    return called


def _options(group: type[Any]) -> Iterator[Parameter]:
    hints = get_type_hints(group, include_extras=True)
    for one in fields(group):
        default = Parameter.empty if one.default is MISSING else one.default
        yield Parameter(one.name, Parameter.KEYWORD_ONLY, default=default, annotation=hints[one.name])


def said_by(group: Any) -> dict[str, str]:
    """Return what was typed behind the options of a group, by name; several of one option stand on a line each."""
    return {name: _text(one) for name, one in vars(group).items() if one is not None and one is not False and one != []}


def _text(one: Any) -> str:
    return "\n".join(map(str, one)) if isinstance(one, list) else "yes" if one is True else str(one)
