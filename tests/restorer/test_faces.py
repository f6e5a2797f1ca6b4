"""Packages that from outside are entered by their `__init__` only."""

import ast

import pytest

from tests.restorer.test_names import modules

FACES = {
    "clients.messaging.channels.calls": set(),
    "clients.messaging.sending_domain": set(),
    "reminders.forecast": {"reminders.forecast.arrays"},  # names of types, which pure cores share
    "reminders.pacing.core": set(),
}


@pytest.mark.parametrize("package", FACES)
def test_from_outside_a_package_is_entered_by_its_face(package: str) -> None:
    inside = package.replace(".", "/")
    entered = {
        (path, node.module)
        for path, tree in modules()
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom)
        and not path.startswith(inside)
        and (node.module or "").startswith(f"{package}.")
    }
    assert [each for each in sorted(entered) if each[1] not in FACES[package]] == []
