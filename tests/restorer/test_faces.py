"""A package is entered by its `__init__`, unless it is a shelf of modules side by side."""

import ast
from functools import cache
from pathlib import Path

import pytest

from tests.restorer.test_names import APPS, ROOT, module_paths, modules

# shelves: each module is a subject of its own, and is named where it is used
SHELVES = {"actions", "forms", "views", "urls", "management", "commands", "templatetags"}
APP_ROOMS = {"clients", "jobs", "reminders", "restorer", "clients.messaging"}
# entered by a module: what a face would load with it is heavy, or wanted by one command alone
OWN_ENTRANCES = {
    "clients.places": {
        "build_climate",
        "build_towns",
        "climate",
        "loading",
        "public_holidays",
        "sources",
        "spelling",
    },
    "clients.messaging.channels": {"fake_gateway"},
    "clients.messaging.models": {"gateway", "message"},  # names that say enough only beside theirs
    "reminders.forecast": {"arrays"},  # names of types, which pure cores share
    "restorer.demo": {"style_samples"},
    "restorer.local": {"postgres_programs", "processes"},  # wanted before anything is installed
}


def packages() -> list[str]:
    found = {
        ".".join(Path(path).parts[:-1]) for path in module_paths() if path.endswith("__init__.py")
    }
    return sorted(
        each
        for each in found - APP_ROOMS
        if not SHELVES & set(each.split(".")) and each.split(".")[0] in APPS
    )


@cache
def imported_modules() -> set[tuple[str, str]]:
    """The files of the apps and the modules that each takes names from."""
    return {
        (path, node.module or "")
        for path, tree in modules()
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom)
    }


@pytest.mark.parametrize("package", packages())
def test_from_outside_a_package_is_entered_by_its_face(package: str) -> None:
    inside = package.replace(".", "/") + "/"
    own = {f"{package}.{each}" for each in OWN_ENTRANCES.get(package, ())}
    entered = {
        (path, module)
        for path, module in imported_modules()
        if not path.startswith(inside)
        and module.startswith(f"{package}.")
        and not (ROOT / module.replace(".", "/")).is_dir()
    }
    assert [each for each in sorted(entered) if each[1] not in own] == []


@pytest.mark.parametrize("app", APPS)
def test_an_app_shows_its_rooms_at_one_glance(app: str) -> None:
    loose = [each for each in (ROOT / app).glob("*.py") if each.name != "__init__.py"]
    assert len(loose) <= 12, sorted(each.name for each in loose)
