"""Every public name of the pacing core is documented as those of the forecast are."""

import importlib
import inspect
import pkgutil

import pytest
from numpydoc.validate import validate

import reminders.pacing.core
from tests.forecast.test_docstrings import CHECKS

NAMES = sorted(
    f"{module.name}.{name}"
    for module in pkgutil.iter_modules(reminders.pacing.core.__path__, "reminders.pacing.core.")
    for name, thing in vars(importlib.import_module(module.name)).items()
    if getattr(thing, "__module__", None) == module.name
    and inspect.isfunction(thing)
    and not name.startswith("_")
)


@pytest.mark.parametrize("name", NAMES)
def test_every_function_of_the_core_is_documented(name: str) -> None:
    wrong = [problem for problem in validate(name)["errors"] if problem[0] in CHECKS]

    assert wrong == []
