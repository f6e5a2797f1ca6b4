"""A new column keeps its default in the database: the release before goes on writing rows while
this one migrates (tests/upgrades tries it with that release itself)."""

from django.db import connection, models

from clients.models import Business
from restorer.postgresql.base import keeps_default
from tests.factories import BusinessFactory


def test_a_row_without_the_new_column_gets_its_default(db: None) -> None:
    tries = models.PositiveSmallIntegerField(default=7)
    tries.set_attributes_from_name("tries")
    with connection.schema_editor() as editor:
        editor.add_field(Business, tries)
    BusinessFactory()  # of a release that knows nothing of it

    with connection.cursor() as cursor:
        cursor.execute("SELECT tries FROM clients_business")
        assert cursor.fetchone() == (7,)


def test_what_may_be_empty_or_is_made_anew_for_each_row_keeps_none() -> None:
    assert keeps_default(models.JSONField(default=dict))
    assert keeps_default(models.CharField(blank=True))
    assert not keeps_default(models.IntegerField(null=True, default=7))
    assert not keeps_default(models.UUIDField(default=lambda: None))
    assert not keeps_default(models.DateTimeField(auto_now_add=True))
