"""Every public name of the core is documented in numpydoc's form (the checks are listed in
pyproject.toml)."""

import ast
import importlib
import inspect
import pkgutil
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from numpydoc.validate import validate

import reminders.forecast

PROJECT = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text())
CORES = [Path(__file__).parents[2] / "reminders" / core for core in ("forecast", "pacing/core")]
CHECKS = set(PROJECT["tool"]["numpydoc_validation"]["checks"])


def public_names() -> Iterator[str]:
    """Modules, and the functions and classes that they define, with the public members of the
    classes."""
    for found in pkgutil.iter_modules(reminders.forecast.__path__, "reminders.forecast."):
        module = importlib.import_module(found.name)
        if "def " in inspect.getsource(module):  # numpydoc fails at a module of constants alone
            yield found.name
        for name, thing in vars(module).items():
            is_ours = getattr(thing, "__module__", None) == found.name and not name.startswith("_")
            if is_ours and (inspect.isfunction(thing) or inspect.isclass(thing)):
                yield f"{found.name}.{name}"
                yield from members(f"{found.name}.{name}", thing)


def members(prefix: str, thing: object) -> Iterator[str]:
    if inspect.isclass(thing):
        for name, member in vars(thing).items():
            is_documented = inspect.isfunction(member) or isinstance(member, property | classmethod)
            if not name.startswith("_") and is_documented:
                yield f"{prefix}.{name}"


def core_classes() -> set[str]:
    """Of this core and that of pacing, which documents itself in the same form."""
    return {
        node.name
        for core in CORES
        for path in core.glob("*.py")
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.ClassDef)
    }


def test_a_type_that_a_docstring_names_is_there() -> None:
    named = r"^ +(?:\w+ : )?(?:list of )?([A-Z]\w+)(?:, optional)?$"
    known = core_classes() | {"Parameters", "Returns", "Raises", "Notes", "None", "Self"}
    unknown = {
        f"{path.name}: {word}"
        for core in CORES
        for path in core.glob("*.py")
        for word in re.findall(named, path.read_text(), re.MULTILINE)
        if word not in known
    }
    assert unknown == set()


@pytest.mark.parametrize("name", list(public_names()))
def test_the_docstring_has_its_parts(name: str) -> None:
    wrong = [f"{code} {text}" for code, text in validate(name)["errors"] if code in CHECKS]

    assert wrong == []
