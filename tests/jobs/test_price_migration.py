"""Price lists from before rails and stairs were priced for every pass."""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

D = Decimal
BEFORE = [("jobs", "0017_photo_once_a_job")]
AFTER = [("jobs", "0018_price_every_pass")]


def migrate_to(nodes: list[tuple[str, str]]) -> Any:
    executor = MigrationExecutor(connection)
    executor.migrate(nodes)
    return MigrationExecutor(connection).loader.project_state(nodes).apps


@pytest.fixture
def lists_of_old(transactional_db: None) -> Iterator[Any]:
    yield migrate_to(BEFORE)
    migrate_to(MigrationExecutor(connection).loader.graph.leaf_nodes())


@pytest.mark.slow
def test_a_recoat_in_one_coat_costs_what_it_did_and_other_work_by_the_same_measure(
    lists_of_old: Any,
) -> None:
    old = lists_of_old.get_model("jobs", "PriceList").objects.create(
        valid_from=date(2026, 1, 1), currency="CAD"
    )
    rate = lists_of_old.get_model("jobs", "Rate")
    for task, per, amount, minutes in (
        ("clean", "m2", 3, 2),
        ("strip", "m2", 9, 8),
        ("coat", "m2", 6, 4),
        ("rails", "m", 12, 9),
        ("stairs", "tread", 5, 6),
        ("stairs", "hour", 60, 0),
        ("stairs", "job", 20, 0),
    ):
        rate.objects.create(price_list=old, task=task, per=per, amount=amount, minutes=minutes)

    apps = migrate_to(AFTER)

    rows = apps.get_model("jobs", "Rate").objects.exclude(per="m2")
    found = {(row.task, row.per): (row.amount, row.minutes) for row in rows}
    assert found == {
        # $12 and 9 min were for a clean and a coat; boards: 3 to 6 dollars, 2 to 4 minutes
        ("clean", "m"): (D(4), D(3)),
        ("coat", "m"): (D(8), D(6)),
        ("strip", "m"): (D(12), D(12)),  # 9 of 9 dollars, 8 of 6 minutes
        ("brighten", "m"): (D(0), D(0)),  # the boards have no price of it either
        # $5 and 6 min at 60 an hour: $11
        ("clean", "tread"): (D("3.67"), D(2)),
        ("coat", "tread"): (D("7.33"), D(4)),
        ("strip", "tread"): (D(11), D(8)),
        ("brighten", "tread"): (D(0), D(0)),
        ("stairs", "job"): (D(20), D(0)),
    }
