"""A channel that the program does not have, added at the places that DEVELOPERS.md names and
nowhere else, for the tests of that recipe."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django import forms
from django.apps import apps
from django.db import connection
from django.db.models import CheckConstraint, Q

from clients.messaging import channels
from clients.messaging.texts.standard import standard_texts, standard_wording
from clients.models import channel as book
from clients.models.channel import AddressKind, Channel, ChannelTraits
from tests.paper_line import PaperLine

PAGER = "pager"
TRAITS = ChannelTraits(
    address=AddressKind.NUMBER,
    contact_kinds=("mobile",),
    machine="paging network",
    disturbs=True,
    on_one_line=True,
    opt_out_field="stop_line",
    law="text",
    consent_label="By pager",
    consent_wording="{business} may page me at {address}.",
)


def add_value(patch: pytest.MonkeyPatch) -> None:
    """A line in `Channel`, and what Python makes of it when modules are read: choices."""
    known = list(Channel.choices)
    member = str.__new__(Channel, PAGER)
    for name, value in {"_name_": "PAGER", "_value_": PAGER, "_label_": "Pager"}.items():
        setattr(member, name, value)
    patch.setitem(Channel._member_map_, "PAGER", member)
    patch.setitem(Channel._value2member_map_, PAGER, member)
    patch.setattr(Channel, "_member_names_", [*Channel._member_names_, "PAGER"])
    for field in choice_fields():
        choices = list(field.choices or [])
        if all(each in choices for each in known):
            patch.setattr(field, "choices", [*choices, (PAGER, "Pager")])


def choice_fields() -> Iterator[Any]:
    """Of all rows and forms."""
    for model in apps.get_models():
        for field in model._meta.fields:
            yield getattr(field, "base_field", field)
    for form in subclasses(forms.BaseForm):
        for field in getattr(form, "base_fields", {}).values():
            if isinstance(field, forms.ChoiceField):
                yield field


def subclasses(kind: type) -> Iterator[type]:
    each: type
    for each in kind.__subclasses__():
        yield each
        yield from subclasses(each)


def migrate(patch: pytest.MonkeyPatch) -> None:
    """What `makemigrations` writes of the new value: the database refuses other ones."""
    with connection.schema_editor() as editor:
        for model in apps.get_models():
            for old in model._meta.constraints:
                if isinstance(old, CheckConstraint) and old.name.endswith("channel_known"):
                    new = CheckConstraint(name=old.name, condition=Q(channel__in=Channel.values))
                    editor.remove_constraint(model, old)
                    editor.add_constraint(model, new)
                    patch.setattr(old, "condition", new.condition)


def add_traits(patch: pytest.MonkeyPatch) -> None:
    patch.setitem(book.CHANNEL_TRAITS, PAGER, TRAITS)


def add_transport(patch: pytest.MonkeyPatch, line: PaperLine) -> None:
    patch.setitem(channels.TRANSPORTS, PAGER, lambda business: line)


def add_texts(patch: pytest.MonkeyPatch) -> None:
    for occasion, by_channel in standard_texts().items():
        if occasion != "words":
            patch.setitem(by_channel, PAGER, by_channel["text"])
    standard_wording.cache_clear()


def add_channel(patch: pytest.MonkeyPatch, *, but_for: str = "") -> PaperLine:
    """At every place but one; what it hands over is noted."""
    line = PaperLine()
    places: dict[str, Callable[[], None]] = {
        "traits": lambda: add_traits(patch),
        "transport": lambda: add_transport(patch, line),
        "texts": lambda: add_texts(patch),
        "migration": lambda: migrate(patch),
    }
    add_value(patch)
    for place, add in places.items():
        if place != but_for:
            add()
    return line
