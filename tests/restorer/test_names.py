"""Names: a class has one home, and no name of a module is a word that the glossary has retired."""

import ast
import re
from collections import Counter
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
APPS = ["clients", "jobs", "reminders", "restorer"]
MAX_SHARED_SHARE = 0.02  # of the functions of modules; 31 % at release 0.2
CALLED_BY_THE_FRAMEWORK = {"Command", "Migration"}


def module_paths() -> list[str]:
    return [
        path.relative_to(ROOT).as_posix()
        for app in APPS
        for path in sorted((ROOT / app).rglob("*.py"))
        if "migrations" not in path.parts
    ]


@cache
def modules() -> list[tuple[str, ast.Module]]:
    """Path and contents of each module; read once, since many tests ask."""
    return [(path, ast.parse((ROOT / path).read_text())) for path in module_paths()]


def module_names(kinds: type | tuple[type, ...]) -> list[tuple[str, str]]:
    """Name and module of what is defined at the top of each module."""
    return [
        (str(getattr(node, "name", "")), path)
        for path, tree in modules()
        for node in tree.body
        if isinstance(node, kinds)
    ]


def assigned_names() -> Iterator[tuple[str, str]]:
    for path, tree in modules():
        for node in tree.body:
            targets = node.targets if isinstance(node, ast.Assign) else []
            targets = [node.target] if isinstance(node, ast.AnnAssign) else targets
            for target in targets:
                for each in ast.walk(target):
                    if isinstance(each, ast.Name):
                        yield each.id, path


def retired_words() -> list[str]:
    """The first column of the glossary's second table."""
    text = (ROOT / "docs" / "glossary.md").read_text()
    rows = text.partition("## Retired words")[2]
    return re.findall(r"^\| (\w+) \|", rows, re.MULTILINE)[1:]


def test_no_two_classes_have_one_name() -> None:
    places = Counter(name for name, _ in module_names(ast.ClassDef))
    twice = {name for name, count in places.items() if count > 1} - CALLED_BY_THE_FRAMEWORK
    assert not twice


def test_hardly_any_function_shares_its_name_with_one_of_another_module() -> None:
    names = [name for name, _ in module_names((ast.FunctionDef, ast.AsyncFunctionDef))]
    counts = Counter(names)
    shared = [name for name in names if counts[name] > 1]
    assert len(shared) <= MAX_SHARED_SHARE * len(names), sorted(set(shared))


@pytest.mark.parametrize("word", retired_words())
def test_a_retired_word_is_in_no_name_of_a_module(word: str) -> None:
    kinds = (ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    names = [*module_names(kinds), *assigned_names()]
    parts = re.compile(rf"(^|_){word}(s|ed|ing)?(_|$)")
    assert [
        (name, path)
        for name, path in names
        if parts.search(re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "_", name).lower())
    ] == []


def test_the_glossary_retires_words() -> None:
    assert len(retired_words()) >= 8
