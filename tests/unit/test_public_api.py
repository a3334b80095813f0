"""What the package and its rooms offer by name: all of it there, in order, and explained."""

from __future__ import annotations

import dataclasses
import importlib
import inspect
import pkgutil
import re
from typing import Any

import pytest

import polarcheck

PUBLIC = [name for name in getattr(polarcheck, "__all__", []) if not name.startswith("__")]
ROOMS = [f"polarcheck.{info.name}" for info in pkgutil.iter_modules(polarcheck.__path__)]


def sections(docstring: str) -> set[str]:
    """Headings of a numpydoc docstring: a line underlined with hyphens."""
    return set(re.findall(r"^(\w[\w ]*)\n-{3,}$", docstring, flags=re.MULTILINE))


def complaints(name: str, thing: Any) -> list[str]:
    """What a public function or class leaves unexplained."""
    docstring = inspect.getdoc(thing) or ""
    if not docstring.strip():
        return [f"{name}: no docstring"]
    if inspect.isclass(thing):
        named, heading = class_members(thing), {"Attributes", "Parameters"}
    elif inspect.isfunction(thing):
        named, heading = list(inspect.signature(thing).parameters), {"Parameters"}
    else:
        return []
    missing = [f"{name}: {member} is not explained" for member in named if member not in docstring]
    if named and not sections(docstring) & heading:
        missing.append(f"{name}: none of the sections {sorted(heading)}")
    if inspect.isfunction(thing) and returns_something(thing) and "Returns" not in sections(docstring):
        missing.append(f"{name}: no section Returns")
    return missing


def silent_methods(name: str, cls: type) -> list[str]:
    """Methods of a public class whose docstring leaves a parameter or what they return unexplained."""
    found = []
    for method in [
        m for m, value in vars(cls).items() if inspect.isfunction(value) and not m.startswith("_")
    ]:
        docstring = inspect.getdoc(getattr(cls, method)) or ""
        named = list(inspect.signature(getattr(cls, method)).parameters)[1:]
        found += [
            f"{name}.{method}: {p} is not explained" for p in named if not re.search(rf"\b{p}\b", docstring)
        ]
        if not docstring:
            found.append(f"{name}.{method}: no docstring")
    return found


def class_members(cls: type) -> list[str]:
    return [field.name for field in dataclasses.fields(cls)] if dataclasses.is_dataclass(cls) else []


def returns_something(function: Any) -> bool:
    return inspect.signature(function).return_annotation not in (None, "None")


def order(name: str) -> tuple[int, str]:
    """Constants first, then classes, then functions, each by the alphabet (as ruff sorts them)."""
    if name.isupper():
        return 0, name
    return (1, name) if name[:1].isupper() else (2, name)


def test_version_is_a_number() -> None:
    assert re.fullmatch(r"\d+\.\d+\.\d+([abrc.]+\d+)?", polarcheck.__version__)


def test_package_says_what_it_is_for() -> None:
    assert "polar axis" in (polarcheck.__doc__ or "")


def test_public_names_exist_sorted_and_explained() -> None:
    """Public names of the package: numpydoc sections, every parameter and attribute named."""
    assert sorted(PUBLIC, key=order) == PUBLIC
    found = [complaint for name in PUBLIC for complaint in complaints(name, getattr(polarcheck, name))]
    assert found == []


def test_methods_of_public_classes_explain_their_parameters() -> None:
    classes = [(name, getattr(polarcheck, name)) for name in PUBLIC]
    found = [line for name, cls in classes if inspect.isclass(cls) for line in silent_methods(name, cls)]
    assert found == []


def test_unexplained_parameters_would_be_seen() -> None:
    def bare(angle: float) -> float:
        """Say nothing of the parameter's unit."""
        return angle

    assert complaints("bare", bare) == [
        "bare: angle is not explained",
        "bare: none of the sections ['Parameters']",
        "bare: no section Returns",
    ]


@pytest.mark.parametrize("room", ROOMS)
def test_room_offers_what_it_lists_with_a_docstring(room: str) -> None:
    """Every room has a docstring and lists each name once; its functions and classes are explained."""
    module = importlib.import_module(room)
    assert (module.__doc__ or "").strip()
    assert len(set(module.__all__)) == len(module.__all__)
    for name in module.__all__:
        thing = getattr(module, name)
        if (inspect.isfunction(thing) or inspect.isclass(thing)) and thing.__module__.startswith(
            "polarcheck"
        ):
            assert (thing.__doc__ or "").strip(), f"{room}.{name} has no docstring"
            assert not (thing.__doc__ or "").startswith(f"{name}("), f"{room}.{name}: made by dataclass"
