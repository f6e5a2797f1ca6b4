"""What all builders have in common: a row is there before the test begins, without the work that
writing one makes."""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any

from auditlog.context import disable_auditlog
from django.db import DatabaseError, connection
from factory.django import DjangoModelFactory

UNSEARCHED = {"Business", "User"}  # built in nearly every test, and no search finds them
with_words = False  # see the fixture `with_words`


class RowFactory(DjangoModelFactory):
    """Leaves no trail of changes and no words for the search:
    these take five times as long as the row itself."""

    class Meta:
        abstract = True

    @classmethod
    def _generate(cls, *words: Any) -> Any:
        with disable_auditlog(), search_later(with_words or cls._meta.model.__name__ in UNSEARCHED):
            return super()._generate(*words)

    @classmethod
    def _get_or_create(cls, model: Any, *_: Any, **values: Any) -> Any:
        """Without the savepoint that only two at once would need."""
        rows = cls._get_manager(model)
        known = {name: values[name] for name in cls._meta.django_get_or_create}
        return rows.filter(**known).first() or rows.create(**values)


@contextmanager
def search_later(not_now: bool) -> Iterator[None]:
    """The switch of a bulk load (jobs/migrations/search_words.sql)."""
    if not_now:
        yield
        return
    switch("on")
    try:
        yield
    finally:
        with suppress(
            DatabaseError
        ):  # a refused row has broken the transaction, and the switch goes back with it
            switch("off")


def switch(how: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config('restorer.search_later', %s, false)", [how])
