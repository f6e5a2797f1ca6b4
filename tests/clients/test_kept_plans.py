"""Plans that PostgreSQL keeps for statements that pages ask again and again."""

import pytest
from django.db import connection

from clients.kept_plans import MAX_KEPT, fetch_by_kept_plan


def kept_plans() -> list[str]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT statement FROM pg_prepared_statements WHERE name LIKE 'kept%'")
        return [statement for (statement,) in cursor.fetchall()]


@pytest.fixture
def new_connection(transactional_db):
    connection.close()


def test_a_page_opened_again_asks_by_the_plans_of_before(new_connection, as_owner):
    as_owner.get("/")
    after_first = kept_plans()
    as_owner.get("/")

    assert any("clients_todo" in statement for statement in after_first)
    assert kept_plans() == after_first


def change_table(statement: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement)


@pytest.fixture
def widened(new_connection):
    change_table("CREATE TABLE widened AS SELECT 'teak'::varchar(4) AS words")
    yield
    change_table("DROP TABLE widened")


def test_a_column_may_change_its_type_while_its_plan_is_kept(widened):
    before = fetch_by_kept_plan("SELECT words FROM widened")
    change_table("ALTER TABLE widened ALTER COLUMN words TYPE varchar(40)")

    assert fetch_by_kept_plan("SELECT words FROM widened") == before == [("teak",)]


def test_behind_a_pooler_no_plan_is_kept(new_connection, settings, as_owner):
    settings.POOLED_DATABASE = True

    assert as_owner.get("/").status_code == 200
    assert kept_plans() == []


def test_a_connection_keeps_so_many_plans_and_answers_all_the_same(new_connection):
    answers = [fetch_by_kept_plan(f"SELECT {n}") for n in range(MAX_KEPT + 5)]

    assert answers == [[(n,)] for n in range(MAX_KEPT + 5)]
    assert len(kept_plans()) == MAX_KEPT
