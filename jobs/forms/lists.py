"""Forms around a list that is brought in: choosing it, checking it, mending its rows."""

import hashlib
from collections.abc import Sequence
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from clients.forms.fields import needed_with_others, textarea
from jobs.importing import LIST_FIELDS, MAX_LIST_BYTES
from jobs.importing.rows import Doubt
from jobs.models import ImportRow, ListImport

MAX_PASTED = 2_000_000  # characters; a larger list is chosen as a file
COLUMN_CHOICES = [("", "Leave out"), *((each.name, each.words) for each in LIST_FIELDS)]
FIELD_WORDS = {each.name: each.words for each in LIST_FIELDS}


class ChooseListForm(forms.Form):
    """A file, or cells copied from a spreadsheet."""

    file = needed_with_others(
        forms.FileField(
            label="Your list",
            required=False,
            allow_empty_file=True,
            help_text="CSV, XLSX, XLS, ODS, contacts as vCard or a calendar as iCalendar.",
        )
    )
    cells = needed_with_others(
        forms.CharField(
            label="Or paste cells here",
            required=False,
            max_length=MAX_PASTED,
            strip=False,
            widget=textarea(4, autocomplete="off", autocapitalize="none", spellcheck="false"),
        )
    )

    def clean_file(self) -> Any:
        file = self.cleaned_data.get("file")
        if file and file.size > MAX_LIST_BYTES:
            raise ValidationError(
                f"The file is larger than {MAX_LIST_BYTES // 1024**2} MB. Split it into several"
                " files."
            )
        return file

    def clean(self) -> dict[str, Any]:
        values: dict[str, Any] = super().clean() or {}
        if not self.errors and not values.get("file") and not values.get("cells", "").strip():
            self.add_error("file", "Choose a file, or paste cells below.")
        return values


class CheckListForm(forms.Form):
    """What each column tells, and the answers to all doubts."""

    def __init__(
        self, *args: Any, source: ListImport, doubts: Sequence[Doubt], answers: Any, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.source = source
        self.doubts = doubts
        for at, field in enumerate(source.mapping):
            self.fields[f"column-{at}"] = forms.ChoiceField(
                label=source.heads[at] or f"Column {at + 1}",
                choices=COLUMN_CHOICES,
                initial=field,
                required=False,
            )
        for doubt in doubts:
            for entry in doubt.entries:
                self.fields[answer_name(doubt.key, entry.key)] = forms.ChoiceField(
                    label=entry.label,
                    choices=list(entry.options),
                    initial=answers.get(doubt.key, entry.key),
                    required=False,
                )

    @property
    def mapping(self) -> list[str]:
        """Field by column. A column that was not shown stays as it is."""
        return [
            self.cleaned_data.get(f"column-{at}", field)
            for at, field in enumerate(self.source.mapping)
        ]

    @property
    def decisions(self) -> dict[str, dict[str, str]]:
        """What was answered, with what was answered before about doubts not asked now."""
        found = {key: dict(given) for key, given in self.source.decisions.items()}
        for doubt in self.doubts:
            for entry in doubt.entries:
                answer = self.cleaned_data[answer_name(doubt.key, entry.key)]
                found.setdefault(doubt.key, {})[entry.key] = answer
        return found

    def columns(self, examples: Sequence[Sequence[str]]) -> list[dict[str, Any]]:
        """Columns that hold anything, with a few of their cells and how sure the guess is."""
        return [
            {"field": self[f"column-{at}"], "examples": examples[at], "is_unsure": score < 0.6}
            for at, score in enumerate(self.source.scores)
            if examples[at]
        ]

    def questions(self) -> list[dict[str, Any]]:
        return [
            {
                "doubt": doubt,
                "entries": [
                    {"entry": entry, "field": self[answer_name(doubt.key, entry.key)]}
                    for entry in doubt.entries
                ],
            }
            for doubt in self.doubts
        ]


def answer_name(doubt: str, key: str) -> str:
    """A name for the form: what is asked about may hold anything."""
    return f"{doubt}-{hashlib.sha256(key.encode()).hexdigest()[:12]}"


class MendRowForm(forms.Form):
    """The cells at fault of one row."""

    def __init__(self, *args: Any, row: ImportRow, mapping: Sequence[str], **kwargs: Any) -> None:
        kwargs["prefix"] = f"row-{row.pk}"
        super().__init__(*args, **kwargs)
        self.row = row
        for field, message in row.why.items():
            at = mapping.index(field) if field in mapping else None
            self.fields[field] = forms.CharField(
                label=FIELD_WORDS.get(field, field),
                required=False,
                max_length=2_000,
                initial=row.cell(at) if at is not None else "",
                help_text=message,
            )
