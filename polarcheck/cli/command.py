"""A command: a function whose groups of options are written out in its signature.

Options that belong together are the fields of a frozen dataclass, each annotated with its ``typer.Option``. A command
takes such groups as parameters, and groups may hold groups::

    @command
    def drift_command(alignment: AlignmentOptions, target: SpanOptions, as_json: JsonOption = False) -> None:

What reads the command line sees the options one by one, in that order; the function is called with whole groups.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import MISSING, Field, fields, is_dataclass
from inspect import Parameter, Signature, signature
from typing import Any, get_type_hints

import typer

from polarcheck.cli.ending import ending

__all__ = ["command"]


def command(function: Callable[..., None]) -> Callable[..., None]:
    """Make a function a command: its groups are written out, and however it ends, `ending` says it.

    Raises
    ------
    TypeError
        Two options go by the same name.
    """
    hints = {name: hint for name, hint in _hints(function).items() if name != "return"}
    own = signature(function).parameters
    options = [o for name, hint in hints.items() for o in _options(name, hint, own[name].default)]
    names = [option.name for option in options]
    if len(set(names)) < len(names):
        raise TypeError(f"{function.__name__}: options share a name: {', '.join(sorted(names))}")

    def run(context: typer.Context, **values: Any) -> None:
        with ending(context):
            function(**{name: _gathered(name, hint, values) for name, hint in hints.items()})

    context = Parameter("context", Parameter.KEYWORD_ONLY, annotation=typer.Context)
    run.__name__, run.__doc__, run.__module__ = function.__name__, function.__doc__, function.__module__
    run.__signature__ = Signature([context, *options])  # type: ignore[attr-defined]
    run.__annotations__ = {option.name: option.annotation for option in (context, *options)}
    return run


def _hints(owner: Any) -> dict[str, Any]:
    return get_type_hints(owner, include_extras=True)


def _options(name: str, hint: Any, default: Any) -> Iterator[Parameter]:
    """Parameters that stand for one parameter of a command: itself, or the fields of its group."""
    if not is_dataclass(hint):
        yield Parameter(name, Parameter.KEYWORD_ONLY, default=default, annotation=hint)
        return
    hints = _hints(hint)
    for field in fields(hint):
        yield from _options(field.name, hints[field.name], _default(field))


def _default(field: Field[Any]) -> Any:
    return Parameter.empty if field.default is MISSING else field.default


def _gathered(name: str, hint: Any, values: dict[str, Any]) -> Any:
    """Take one parameter of a command from the values of all options."""
    if not isinstance(hint, type) or not is_dataclass(hint):
        return values[name]
    hints = _hints(hint)
    return hint(**{field.name: _gathered(field.name, hints[field.name], values) for field in fields(hint)})
