"""What holds for every form: long text is never cut off, and no field calls itself optional that is
asked for in the end."""

import ast
import importlib
import inspect
from collections.abc import Iterator
from typing import Any

import pytest
from django import forms

from clients.forms.fields import LongText
from tests.new_channel import subclasses
from tests.restorer.test_names import APPS, modules


def all_forms() -> Iterator[type[forms.BaseForm]]:
    for path, _ in modules():
        if "/forms/" in path:
            importlib.import_module(path.removesuffix(".py").replace("/", "."))
    for form in subclasses(forms.BaseForm):
        if form.__module__.split(".")[0] in APPS:
            yield form


def test_no_browser_cuts_off_what_was_typed_or_dictated() -> None:
    """A browser cuts off what is longer than `maxlength` without a word (HTML, 4.10.5.3.1)."""
    long_fields = [
        (form.__name__, name, field)
        for form in all_forms()
        for name, field in getattr(form, "base_fields", {}).items()
        if isinstance(field.widget, forms.Textarea) and "demo" not in form.__module__
    ]
    assert len(long_fields) > 20
    for form_name, name, field in long_fields:
        assert isinstance(field.widget, LongText), (form_name, name)
        drawn = field.widget.render(name, "", {})
        assert "maxlength" not in drawn
        assert "spellcheck" in drawn
        assert "autocapitalize" in drawn


def asked_for_when_missing() -> list[tuple[str, str]]:
    """Class and field of each `add_error("field", …)` under a condition that the field is empty."""
    found = []
    for path, tree in modules():
        if "/forms/" not in path:
            continue
        for each in ast.walk(tree):
            if isinstance(each, ast.ClassDef):
                found += [(each.name, name) for name in missing_in(each)]
    return found


def missing_in(form: ast.ClassDef) -> Iterator[str]:
    for check in ast.walk(form):
        if not isinstance(check, ast.If):
            continue
        asked = ast.unparse(check.test)
        for call in (node for part in check.body for node in ast.walk(part)):
            if isinstance(call, ast.Call) and ast.unparse(call.func) == "self.add_error":
                name = ast.literal_eval(call.args[0]) if is_text(call.args[0]) else ""
                if name and is_asked_empty(asked, name):
                    yield name


def is_text(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, str)


def is_asked_empty(condition: str, name: str) -> bool:
    return f"not values.get('{name}')" in condition or f"values.get('{name}') is None" in condition


@pytest.mark.parametrize(("form_name", "field"), asked_for_when_missing())
def test_no_field_says_optional_and_is_then_asked_for(form_name: str, field: str) -> None:
    (form,) = (each for each in all_forms() if each.__name__ == form_name)
    declared: Any = getattr(form, "base_fields", {}).get(field)
    is_marked = declared is not None and (
        declared.required
        or isinstance(declared, forms.BooleanField)  # a box never says optional
        or getattr(declared, "is_needed_with_others", False)
    )
    source = inspect.getsource(form)
    assert (
        is_marked
        or f'needed_with_others(self.fields["{field}"])' in source
        or f'for name in ("{field}"' in source
    )
