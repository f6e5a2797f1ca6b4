"""The module and class that Django looks for in a database engine."""

from typing import Any

from django.db.backends.postgresql import base, schema
from django.db.models import NOT_PROVIDED


class DefaultKeepingSchemaEditor(schema.DatabaseSchemaEditor):
    """Django takes the default away again once the rows that are there have it."""

    def add_field(self, model: Any, field: Any) -> None:
        super().add_field(model, field)
        if keeps_default(field) and self.effective_default(field) is not None:
            alter = self._alter_column_default_sql  # type: ignore[attr-defined] # not in the stubs
            changes, params = alter(model, None, field)
            table = self.quote_name(model._meta.db_table)
            self.execute(self.sql_alter_column % {"table": table, "changes": changes}, params)


def keeps_default(field: Any) -> bool:
    """Not of a column that may be empty, nor of one whose value is made anew for each row."""
    is_constant = not callable(field.default) or field.default in (NOT_PROVIDED, list, dict)
    is_plain = not (field.null or field.many_to_many or field.has_db_default())
    return is_plain and is_constant and not getattr(field, "auto_now_add", False)


class DatabaseWrapper(base.DatabaseWrapper):
    SchemaEditorClass = DefaultKeepingSchemaEditor
