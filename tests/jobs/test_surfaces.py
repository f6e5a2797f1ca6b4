"""What a product went on: boards, stairs, rails, screens, each by itself."""

import csv
import json
from collections.abc import Iterator
from datetime import UTC, date, datetime
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from auditlog.models import LogEntry
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction
from django.test import Client
from freezegun import freeze_time

from clients.actions.undoing import undo_change
from clients.audit_trail import describe_entries
from clients.models import Business, Deck
from jobs import search
from jobs.actions.jobs import CoatInput, JobInput, change_job
from jobs.models import CoatApplied, Job
from jobs.search.questions import Topic, parse_question, split_words
from reminders.actions import refresh_forecasts
from tests.factories import CoatFactory, DeckFactory, JobFactory, ProductFactory
from tests.jobs.log_page import URL, errors, log, row

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 11, 15, tzinfo=UTC)  # noon in Nova Scotia


@pytest.fixture(autouse=True)
def _noon_on_the_deck() -> Iterator[None]:
    with freeze_time(NOW, ignore=["urllib3"]):
        yield


@pytest.fixture
def railed(business: Business) -> Deck:
    return DeckFactory(
        site__client__name="Ottilie Saltonby", label="Sun deck", rail_m=12, stair_treads=4
    )


def ticked(page: Any) -> Any:
    """What the first row of products shows as ticked; None where it is not asked."""
    field = page.context["page"].rows[0]["surfaces"]
    return field.value() if f'name="{field.html_name}"' in page.content.decode() else None


def test_a_deck_with_rails_is_asked_what_it_went_on_and_everything_is_ticked(
    as_owner: Client, railed: Deck
) -> None:
    plain = DeckFactory()

    assert ticked(as_owner.get(f"{URL}?deck={railed.pk}")) == ["boards", "stairs", "rails"]
    assert ticked(as_owner.get(f"{URL}?deck={plain.pk}")) is None
    assert ticked(as_owner.get(f"{URL}?new=1")) is None


def test_what_is_ticked_is_kept_and_the_timeline_says_rails_only(
    as_owner: Client, railed: Deck
) -> None:
    oil = ProductFactory()
    stain = ProductFactory(name="Gannet Stain")

    log(
        as_owner,
        railed,
        row(oil, surfaces=["stairs", "boards"]),
        row(stain, 1, surfaces=["rails"], batch=""),
    )

    job = Job.objects.get()
    assert [coat.surfaces for coat in job.coats_applied.all()] == [["boards", "stairs"], ["rails"]]
    page = as_owner.get(f"/decks/{railed.pk}/").content.decode()
    assert "2 coats on deck boards, stairs," in page
    assert "2 coats on railing only" in page
    again = as_owner.get(f"{URL}?deck={railed.pk}").context["page"].rows
    assert [form["surfaces"].value() for form in again] == [["boards", "stairs"], ["rails"]]


def test_a_row_that_went_on_nothing_is_asked_about_and_nothing_typed_is_lost(
    as_owner: Client, railed: Deck
) -> None:
    answer = log(as_owner, railed, row(ProductFactory(), surfaces=[]))

    assert errors(answer) == {"coats-0-surfaces": ["Tick what it went on."]}
    assert "TW-0001" in answer.content.decode()
    assert not Job.objects.exists()


def test_one_more_row_keeps_what_was_ticked(as_owner: Client, railed: Deck) -> None:
    answer = log(as_owner, railed, row(ProductFactory(), surfaces=["rails"]), add_product="1")

    first, added = answer.context["page"].rows
    assert first["surfaces"].value() == ["rails"]
    assert added["surfaces"].value() == ["boards", "stairs", "rails"]


def test_a_correction_offers_what_its_rows_say_even_where_the_deck_has_it_no_more(
    as_owner: Client, railed: Deck
) -> None:
    job = JobFactory(deck=railed, kind="recoat", finished_on=date(2026, 6, 1))
    CoatFactory(job=job, surfaces=["screens"])

    rows = as_owner.get(f"/jobs/{job.pk}/edit/").context["page"].rows

    assert [name for name, _ in rows[0].fields["surfaces"].choices] == [
        "boards",
        "stairs",
        "rails",
        "screens",
    ]
    assert rows[0]["surfaces"].value() == ["screens"]


def test_a_job_on_the_rails_alone_leaves_the_coat_and_the_date_of_the_boards(
    railed: Deck,
) -> None:
    strip = JobFactory(deck=railed, kind="strip", finished_on=date(2025, 6, 1))
    CoatFactory(job=strip, surfaces=["boards", "rails"], coats=2)
    refresh_forecasts(deck_ids=[railed.pk], today=NOW.date(), now=NOW)
    before = railed.forecast

    rails = JobFactory(deck=railed, kind="strip", finished_on=date(2026, 5, 30))
    CoatFactory(job=rails, surfaces=["rails"], coats=3)
    CoatFactory(
        job=rails, surfaces=["boards", "rails"], product__kind="cleaner", product__finish_class=""
    )
    refresh_forecasts(deck_ids=[railed.pk], today=NOW.date(), now=NOW)

    after = Deck.objects.get(pk=railed.pk).forecast
    assert (after.job, after.due_on, after.coat_build) == (strip, before.due_on, 2)
    assert railed.coats.get().ended_on is None


def test_a_strip_of_the_rails_of_which_only_the_stripper_is_noted_is_none_of_the_boards(
    railed: Deck,
) -> None:
    job = JobFactory(deck=railed, kind="strip", finished_on=date(2026, 5, 30))
    CoatFactory(job=job, surfaces=["rails"], product__kind="stripper", product__finish_class="")
    unsaid = JobFactory(deck=railed, kind="recoat", finished_on=date(2026, 6, 1))

    assert [coat.job for coat in railed.coats.all()] == [unsaid]
    assert [job.is_on_boards for job in railed.jobs.with_coats().newest_first()] == [True, False]


@pytest.mark.usefixtures("with_words")
def test_a_look_up_answers_what_went_on_the_rails(railed: Deck) -> None:
    other = DeckFactory(site=railed.site, label="Back deck")
    CoatFactory(
        job=JobFactory(deck=other, finished_on=date(2024, 5, 1)), product__name="Gannet Oil"
    )
    for day, name, surfaces in (
        (date(2022, 5, 1), "Gannet Stain", ["rails"]),
        (date(2024, 5, 1), "Tidewood Oil", ["boards"]),
    ):
        CoatFactory(
            job=JobFactory(deck=railed, finished_on=day), product__name=name, surfaces=surfaces
        )

    found = search.find_decks("what went on the rails saltonby")
    [hit] = found.hits
    records = search.coat_records_by_deck([railed.pk])[railed.pk]
    history = search.split_history(records, found.asked)

    assert hit.deck_id == railed.pk
    assert [record.product for record in history.matching] == ["Gannet Stain"]
    assert [record.product for record in history.others] == ["Tidewood Oil"]
    assert not search.find_decks("saltonby screens 2022").asked.of_topic(Topic.SURFACE)
    out = StringIO()
    call_command("history", "saltonby", "garde-corps", "--format", "json", stdout=out)
    assert json.loads(out.getvalue())[0]["surfaces"] == "rails"


def test_a_surface_alone_is_a_word_and_beside_others_a_surface() -> None:
    assert [part.topic for part in parse_question(split_words("rails"))] == [Topic.WORD]
    assert [
        (part.topic, part.value) for part in parse_question(split_words("railing strips 2022"))
    ] == [(Topic.SURFACE, "rails"), (Topic.WORK, "strip"), (Topic.TIME, "2022")]


def test_a_sheet_says_what_it_went_on_or_means_all_that_the_deck_has(
    railed: Deck, tmp_path: Path
) -> None:
    sheet = tmp_path / "list.csv"
    common = {
        "client": "Ottilie Saltonby",
        "street": railed.site.street,
        "town": railed.site.town,
        "region": railed.site.region,
        "deck": "Sun deck",
        "job_kind": "recoat",
        "product": "Saltmarsh Oil",
        "finish_class": "penetrating_oil",
    }
    with sheet.open("w", newline="") as file:
        writer = csv.DictWriter(file, [*common, "job_date", "surfaces"])
        writer.writeheader()
        writer.writerow(common | {"job_date": "2024-06-12", "surfaces": "Rails, stairs"})
        writer.writerow(common | {"job_date": "2025-06-12", "surfaces": ""})

    call_command("import_book", str(sheet), stdout=StringIO())

    rows = CoatApplied.objects.order_by("job__finished_on")
    assert [coat.surfaces for coat in rows] == [["stairs", "rails"], ["boards", "stairs", "rails"]]


def test_the_database_takes_no_coat_on_nothing_and_none_on_what_no_deck_has() -> None:
    for surfaces in ([], ["roof"]):
        with (
            pytest.raises(IntegrityError, match="coat_is_on_known_surfaces"),
            transaction.atomic(),
        ):
            CoatFactory(surfaces=surfaces)


@pytest.mark.slow
def test_a_book_from_before_keeps_what_it_said_and_may_go_back(transactional_db: None) -> None:
    from django.db.migrations.executor import MigrationExecutor

    product = ProductFactory()
    job = JobFactory()
    kept = {
        CoatFactory(job=job, product=product, surfaces=["boards"]).pk: "boards",
        CoatFactory(job=job, product=product, surfaces=["rails"]).pk: "rails",
        CoatFactory(
            job=job, product=product, surfaces=["boards", "stairs", "rails", "screens"]
        ).pk: "all",
    }
    leaves = MigrationExecutor(connection).loader.graph.leaf_nodes()
    try:
        MigrationExecutor(connection).migrate([("jobs", "0030_unwritten_search")])
        with connection.cursor() as cursor:
            cursor.execute("SELECT id, surface FROM jobs_coatapplied")
            assert dict(cursor.fetchall()) == kept
    finally:
        MigrationExecutor(connection).migrate(leaves)
    assert [coat.surfaces_words for coat in CoatApplied.objects.order_by("pk")] == [
        "Deck boards",
        "Railing",
        "Everything",
    ]


def test_the_trail_says_what_it_went_on_before_and_takes_it_back(railed: Deck, owner: Any) -> None:
    coat = CoatFactory(
        job=JobFactory(deck=railed, kind="recoat", finished_on=date(2026, 6, 1)),
        surfaces=["boards", "rails"],
        position=1,
        batch=None,
    )
    rails = CoatInput(coat.product, "", coat.colour, ["rails"], coat.coats, coat.litres)
    details = {"kind": "recoat", "finished_on": date(2026, 6, 1)}
    change_job(job=coat.job, work=JobInput(details, [rails]), by=owner, now=NOW)

    entry = LogEntry.objects.get_for_object(coat).get()
    [told] = describe_entries([entry])
    assert [(each.label, each.before, each.after) for each in told.changes] == [
        ("surfaces", "Deck boards, Railing", "Railing")
    ]
    undo_change(entry=entry, now=NOW)

    coat.refresh_from_db()
    assert coat.surfaces == ["boards", "rails"]
