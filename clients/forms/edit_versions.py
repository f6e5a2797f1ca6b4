"""Two people on one record: what a form showed when it was opened, what the book holds now, and
what was typed, compared field by field (docs/decisions/0039).

A version is the fields as they were shown. A row of a list of rows counts as one field.
"""

import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Protocol

from django import forms
from django.forms.boundfield import BoundField
from django.http import QueryDict

OPENED_FIELD = "opened"
DECIDED_FIELD = "decided"
CHOICE_PREFIX = "take:"
THEIRS = "theirs"
ROW_MARK = "/"  # between the list and the row in the key of a row
FACT_KEY = "fact"
NOT_THERE = "Not there"
EMPTY = "Empty"
PLAIN_NUMBER = re.compile(r"-?[0-9]{1,20}(\.[0-9]{1,20})?", re.ASCII)
MAX_OPENED_LENGTH = 1_000_000  # characters

Pairs = list[list[str]]
FormVersion = Mapping[str, Pairs]


class EditForms(Protocol):
    """What an edit page shows: single forms and lists of rows; `facts` are said on it but set
    elsewhere."""

    @property
    def single_forms(self) -> Sequence[forms.BaseForm]: ...

    @property
    def formsets(self) -> Sequence[forms.BaseFormSet]: ...

    def is_valid(self) -> bool: ...


@dataclass(frozen=True)
class ShownField:
    """One thing that a form shows: its label, what it sends, how it reads."""

    label: str
    pairs: Pairs
    words: str


@dataclass(frozen=True)
class MeanwhileChange:
    """A field that somebody else changed while this form was open. `is_choice`: a fact is only
    told. `is_untouched`: the person here did not change it."""

    key: str
    label: str
    theirs: str
    mine: str
    is_untouched: bool
    is_choice: bool

    @property
    def choice_name(self) -> str:
        return f"{CHOICE_PREFIX}{self.key}"


def shown_fields(page: EditForms, facts: Mapping[str, str]) -> dict[str, ShownField]:
    """All that the page shows, by key, in its order."""
    found = {
        f"{FACT_KEY}{ROW_MARK}{label}": ShownField(label, [[label, words]], words)
        for label, words in facts.items()
    }
    for form in page.single_forms:
        for field in versioned_fields(form):
            values = sent_values(field)
            pairs = [[field.html_name, value] for value in values]
            found[field.html_name] = ShownField(str(field.label), pairs, in_words(field, values))
    for formset in page.formsets:
        found |= shown_rows(formset)
    return found


def versioned_fields(form: forms.BaseForm) -> Iterator[BoundField]:
    """Files are only added, and a form's own key is new on each page."""
    for field in form:
        if (
            not isinstance(field.field, forms.FileField | forms.UUIDField)
            and field.name != "DELETE"
        ):
            yield field


def sent_values(field: BoundField) -> list[str]:
    """What a browser sends of it, as far as it can be told from the form."""
    widget: Any = field.field.widget
    value = field.value()
    if isinstance(widget, forms.CheckboxInput):
        return ["on"] if widget.check_test(value) else []
    shown = widget.format_value(value)
    values = shown if isinstance(shown, list | tuple) else [shown]
    is_number = isinstance(field.field, forms.DecimalField | forms.IntegerField)
    return [plain_number(each) if is_number else same_lines(each) for each in values]


def plain_number(value: Any) -> str:
    """“16” for “16.00”; what is no plain number stays as it was typed."""
    text = same_lines(value)
    if not PLAIN_NUMBER.fullmatch(text):
        return text
    return f"{Decimal(text).normalize():f}"


def same_lines(value: Any) -> str:
    """Browsers end lines their own way."""
    return "" if value is None else "\n".join(str(value).splitlines()).strip()


def in_words(field: BoundField, values: Sequence[str]) -> str:
    if isinstance(field.field.widget, forms.CheckboxInput):
        return "Yes" if values else "No"
    labels = choice_labels(getattr(field.field, "choices", ()))
    return ", ".join(filter(None, (labels.get(value, value) for value in values))) or EMPTY


def choice_labels(choices: Iterable[Any]) -> dict[str, str]:
    found: dict[str, str] = {}
    for value, label in choices:
        if isinstance(label, list | tuple):
            found |= choice_labels(label)
        else:
            found[str(value)] = str(label)
    return found


def shown_rows(formset: forms.BaseFormSet) -> dict[str, ShownField]:
    """The rows that say something, each as one field."""
    known_by: tuple[str, ...] = getattr(formset, "known_by", ())
    label = str(getattr(formset, "row_label", "Row"))
    found: dict[str, ShownField] = {}
    for number, form in enumerate(filled_rows(formset)):
        fields = list(versioned_fields(form))
        values = {field.name: sent_values(field) for field in fields}
        name = "·".join(value for known in known_by for value in values[known]) or f"#{number}"
        key = f"{formset.prefix}{ROW_MARK}{name}"
        pairs = [[name, value] for name, several in values.items() for value in several]
        words = ", ".join(row_words(fields, values))
        found[key if key not in found else f"{key}#{number}"] = ShownField(label, pairs, words)
    return found


def filled_rows(formset: forms.BaseFormSet) -> Iterator[forms.BaseForm]:
    for form in formset.forms:
        is_left_out = "DELETE" in form.fields and bool(form["DELETE"].value())
        filled_by: tuple[str, ...] = formset.filled_by  # type: ignore[attr-defined]
        if not is_left_out and any(any(sent_values(form[name])) for name in filled_by):
            yield form


def row_words(fields: Sequence[BoundField], values: Mapping[str, list[str]]) -> Iterator[str]:
    for field in fields:
        is_tick = isinstance(field.field.widget, forms.CheckboxInput)
        if is_tick and values[field.name]:
            yield str(field.label).lower()
        elif not is_tick and not field.is_hidden and any(values[field.name]):
            yield in_words(field, values[field.name])


def pack_version(shown: Mapping[str, ShownField]) -> str:
    return json.dumps({key: each.pairs for key, each in shown.items()}, separators=(",", ":"))


def unpack_version(text: str) -> FormVersion:
    """The fields as they were shown; none of a text that is not ours, so that every difference
    counts as a change."""
    try:
        read = json.loads(text) if len(text) <= MAX_OPENED_LENGTH else {}
        return {
            str(key): [[str(name), str(value)] for name, value in pairs]
            for key, pairs in read.items()
        }
    except (ValueError, TypeError, AttributeError, RecursionError):
        return {}


def meanwhile_changes(
    opened: FormVersion, now: Mapping[str, ShownField], typed: Mapping[str, ShownField]
) -> list[MeanwhileChange]:
    """What the book holds otherwise than when the form was opened, and otherwise than was typed."""
    keys = [*now, *(key for key in typed if key not in now)]
    found = []
    for key in keys:
        theirs, mine = now.get(key), typed.get(key)
        before, held = opened.get(key, []), pairs_of(theirs)
        is_fact = key.startswith(f"{FACT_KEY}{ROW_MARK}")
        if held == before or (held == pairs_of(mine) and not is_fact):
            continue
        found.append(
            MeanwhileChange(
                key=key,
                label=(theirs or mine or NOTHING_SHOWN).label,
                theirs=theirs.words if theirs else NOT_THERE,
                mine=mine.words if mine else NOT_THERE,
                is_untouched=pairs_of(mine) == before,
                is_choice=not is_fact,
            )
        )
    return found


NOTHING_SHOWN = ShownField("", [], "")


def pairs_of(field: ShownField | None) -> Pairs:
    return field.pairs if field else []


def decided_fields(posted: QueryDict, page: EditForms) -> QueryDict:
    """What was typed, with the other's version of each field for which that was chosen."""
    theirs = unpack_version(posted.get(OPENED_FIELD, ""))
    asked = {
        name.removeprefix(CHOICE_PREFIX): posted[name]
        for name in posted
        if name.startswith(CHOICE_PREFIX)
    }
    taken = {key for key, choice in asked.items() if choice == THEIRS}
    data = posted.copy()
    for form in page.single_forms:
        for field in versioned_fields(form):
            if field.html_name in taken:
                data.setlist(field.html_name, [pair[1] for pair in theirs.get(field.html_name, [])])
                if not data.getlist(field.html_name):
                    data.pop(field.html_name, None)
    for formset in page.formsets:
        if any(key.startswith(f"{formset.prefix}{ROW_MARK}") for key in asked):
            write_rows_again(data, formset, theirs, taken)
    return data


def write_rows_again(
    data: QueryDict, formset: forms.BaseFormSet, theirs: FormVersion, taken: set[str]
) -> None:
    """The rows of a list with the other's in place of some; a row that is not wanted is sent as
    one to be left out, as the book may hold it."""
    start = f"{formset.prefix}-"
    mine = {key: field.pairs for key, field in shown_rows(formset).items()}
    their_keys = [key for key in theirs if key.startswith(f"{formset.prefix}{ROW_MARK}")]
    keys = [*their_keys, *(key for key in mine if key not in theirs)]
    chosen = [(theirs if key in taken else mine).get(key, []) for key in keys]
    left_out = [
        [*theirs[key], ["DELETE", "on"]]
        for key, row in zip(keys, chosen, strict=True)
        if not row and key in theirs
    ]
    rows = [*filter(None, chosen), *left_out]
    had_rows = data.get(f"{start}INITIAL_FORMS", "0") not in {"", "0"}
    for name in [name for name in data if name.startswith(start) and name[len(start)].isdigit()]:
        del data[name]
    for number, row in enumerate(rows):
        for name, value in row:
            data.appendlist(f"{start}{number}-{name}", value)
    data[f"{start}TOTAL_FORMS"] = str(len(rows))
    data[f"{start}INITIAL_FORMS"] = str(len(rows) if had_rows else 0)
