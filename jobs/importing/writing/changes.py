"""Changes of rows that were in the book before: written at once, and kept so that they can be taken
back."""

from collections import defaultdict
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.db.models import Model

if TYPE_CHECKING:
    from jobs.importing.writing.chunks import Outcome


class Changes:
    """Of one chunk. `outcome` is that of the unit being written."""

    outcome: "Outcome"

    def __init__(self) -> None:
        self.values: dict[type[Model], dict[int, dict[str, Any]]] = defaultdict(dict)
        self.count = 0
        self.seen = 0

    def add(self, model: type[Model], key: int, name: str, old: Any, new: Any) -> None:
        self.values[model].setdefault(key, {})[name] = new
        self.outcome.before.append(
            [model._meta.label_lower, key, name, json_value(old), json_value(new)]
        )
        self.count += 1
        words = str(model._meta.get_field(name).verbose_name)  # type: ignore[union-attr] # a column
        self.outcome.remarks.append(
            f"{words.capitalize()}: {json_value(new)} instead of {json_value(old)}."
        )

    @property
    def has_new(self) -> bool:
        """Whether anything was added since this was asked last."""
        is_new = self.count > self.seen
        self.seen = self.count
        return is_new

    def flush(self) -> None:
        """Few rows change when a list is read again: one statement each."""
        for model, rows in self.values.items():
            for key, values in rows.items():
                model._default_manager.filter(pk=key).update(**values)


def json_value(value: Any) -> Any:
    """As JSON keeps it."""
    if isinstance(value, date):
        return value.isoformat()
    return str(value) if isinstance(value, Decimal) else value
