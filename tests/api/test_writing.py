"""What programs write, by the same rules as the pages, once however often it is sent."""

import json
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, timedelta
from threading import Barrier
from typing import Any

import pytest
from auditlog.models import LogEntry
from django.core.management import call_command
from django.db import close_old_connections, connections
from django.test import Client as Browser

from clients.models import Client, ContactPoint, Deck, User
from jobs.actions.erasing import erase_client
from jobs.models import Batch, Job, Visit
from reminders.models import Forecast
from restorer.api import make_api_token
from restorer.models import KeptAnswer
from restorer.tasks import forget_answers_nightly
from tests.api.conftest import NOW, Program
from tests.factories import BusinessFactory, ClientFactory, DeckFactory, ProductFactory, UserFactory

pytestmark = pytest.mark.usefixtures("_clock")


def pointers(answer: Any) -> dict[str, str]:
    return {each["pointer"]: each["detail"] for each in answer.json()["errors"]}


def a_job(deck: Deck, **fields: Any) -> dict[str, Any]:
    return {"deck_id": deck.pk, "kind": "recoat", "finished_on": "2026-06-12", **fields}


def a_client(**fields: Any) -> dict[str, Any]:
    return {
        "name": "Marlow Pennington",
        "contact_points": [
            {"kind": "email", "value": "Marlow@example.org"},
            {"kind": "mobile", "value": "902-555-0142", "label": "after five"},
        ],
        "site": {
            "street": "12 Cormorant Lane",
            "town": "Lunenburg",
            "latitude": 44.38,
            "longitude": -64.31,
            "time_zone": "America/Halifax",
        },
        "deck": {"label": "Back deck", "species": "larch", "area_m2": "18.5", "pool": True},
        **fields,
    }


def test_a_job_is_logged_with_its_coats_and_grades_and_the_forecast_follows(
    writer: Program, owner: User
) -> None:
    deck = DeckFactory()
    oil = ProductFactory()
    coat = {"product_id": oil.pk, "batch": " tw-1 ", "colour": "Cedar", "coats": 2, "litres": "3.5"}
    body = a_job(
        deck,
        coats=[coat],
        findings={"overall": 3, "reason": "due"},
        crew="Tern",
        amount="1250.00",
        hours=[{"person": owner.username, "hours": "3.25"}],
    )

    answer = writer.post("/jobs", body)

    made = answer.json()
    row = Job.objects.get()
    applied = row.coats_applied.get()
    assert answer.status_code == 201, made
    assert made["id"] == row.pk
    assert (row.deck, row.kind, row.finished_on) == (deck, "recoat", date(2026, 6, 12))
    assert (row.recorded_by, row.crew, str(row.amount), row.currency) == (
        owner,
        "Tern",
        "1250.00",
        "CAD",
    )
    assert (applied.product, applied.batch.code, applied.coats) == (oil, "tw-1", 2)
    assert (row.visit.overall, row.visit.reason) == (3, "due")
    assert made["coats"][0]["litres"] == "3.50"
    assert made["findings"]["overall"] == 3
    assert made["hours"] == [{"person": owner.username, "hours": "3.25"}]
    assert Forecast.objects.get().job == row
    assert LogEntry.objects.get_for_object(row).get().actor == owner


# ISO 8601-2:2019, 4.8.2: 21 is spring, in the north from March to May
@pytest.mark.parametrize(
    ("sent", "first", "last"),
    [
        ("2025-03", date(2025, 3, 1), date(2025, 3, 31)),
        ("2025-21", date(2025, 3, 1), date(2025, 5, 31)),
        ("2019", date(2019, 1, 1), date(2019, 12, 31)),
    ],
)
def test_of_an_old_job_the_month_the_season_or_the_year_is_enough(
    writer: Program, sent: str, first: date, last: date
) -> None:
    answer = writer.post("/jobs", a_job(DeckFactory(), finished_on=sent))

    row = Job.objects.get()
    assert (row.finished_from, row.finished_on) == (first, last)
    assert answer.json()["finished_on"] == sent


@pytest.mark.parametrize(
    ("wrong", "pointer"),
    [
        ({"kind": "polish"}, "/kind"),
        ({"finished_on": "2999-01-01"}, "/finished_on"),
        ({"finished_on": "1930-01-01"}, "/finished_on"),
        ({"finished_on": "2026-02-30"}, "/finished_on"),
        ({"finished_on": "2026-13"}, "/finished_on"),
        ({"finished_on": "1900"}, "/finished_on"),
        ({"finished_on": "yesterday"}, "/finished_on"),
        ({"humidity_percent": 101}, "/humidity_percent"),
        ({"air_c": "99"}, "/air_c"),
        ({"amount": "-1"}, "/amount"),
        ({"amount": "1" + "0" * 310}, "/amount"),
        ({"amount": "NaN"}, "/amount"),
        ({"findings": {"overall": 9, "reason": "due"}}, "/findings/overall"),
        ({"findings": {"overall": 2}}, "/findings/reason"),
        ({"coats": [{"product_id": 999_999}]}, "/coats/0/product_id"),
        ({"coats": [{"product_id": None}, {"product_id": None, "batch": "X"}]}, "/coats/1/batch"),
        ({"coats": [{"product_id": None, "coats": 11}]}, "/coats/0/coats"),
        ({"hours": [{"person": "nobody", "hours": "2"}]}, "/hours/0/person"),
        ({"deck_id": 999_999}, "/deck_id"),
        ({"deck_id": 2**63}, "/deck_id"),
        ({"notes": "a\x00b"}, "/notes"),
        ({"weather": "fine"}, "/weather"),
    ],
)
def test_a_job_that_cannot_be_names_the_field_and_writes_nothing(
    writer: Program, wrong: dict[str, Any], pointer: str
) -> None:
    answer = writer.post("/jobs", a_job(DeckFactory()) | wrong)

    assert answer.status_code == 422
    assert answer["Content-Type"] == "application/problem+json"
    assert pointer in pointers(answer), answer.json()
    assert not Job.objects.exists()
    assert not Visit.objects.exists()
    assert not KeptAnswer.objects.exists()


def test_half_an_emoji_is_named_and_not_stored(writer: Program) -> None:
    body = b'{"deck_id": %d, "kind": "recoat", "finished_on": "2026-06-12", "notes": "\\ud83d"}'

    answer = writer.post("/jobs", body % DeckFactory().pk)

    assert answer.status_code == 422
    assert "/notes" in pointers(answer)


@pytest.mark.parametrize("body", [b"", b"{", b"[]", b"null", b"\xff", b"[" * 100_000])
def test_what_is_no_object_is_refused_in_plain_words(writer: Program, body: bytes) -> None:
    answer = writer.post("/jobs", body)

    assert answer.status_code in {400, 422}
    assert answer["Content-Type"] == "application/problem+json"


def test_an_archived_deck_takes_no_job(writer: Program) -> None:
    deck = DeckFactory(archived_at=datetime(2026, 1, 1, tzinfo=UTC))

    answer = writer.post("/jobs", a_job(deck))

    assert answer.status_code == 422
    assert "archived" in pointers(answer)["/deck_id"]


def test_a_client_comes_with_contact_points_property_and_deck(writer: Program) -> None:
    answer = writer.post("/clients", a_client())

    made = answer.json()
    row = Client.objects.get()
    deck = Deck.objects.get()
    assert answer.status_code == 201, made
    assert [made["client"]["id"], made["deck"]["id"]] == [row.pk, deck.pk]
    assert made["site"]["client_id"] == row.pk
    assert (deck.label, deck.species, str(deck.area_m2), deck.pool) == (
        "Back deck",
        "larch",
        "18.50",
        True,
    )
    assert (deck.traffic, deck.site.country) == ("household", "CA")
    found = {point.kind: point.normalized for point in ContactPoint.objects.all()}
    assert found == {"email": "marlow@example.org", "mobile": "+19025550142"}


def test_measures_are_si_whatever_people_read(writer: Program, business: Any) -> None:
    business.units = "us"
    business.save()

    writer.post("/clients", a_client())

    assert str(Deck.objects.get().area_m2) == "18.50"


@pytest.mark.parametrize(
    ("wrong", "pointer"),
    [
        ({"name": "   "}, "/name"),
        ({"name": "–"}, "/name"),
        ({"language": "xx"}, "/language"),
        ({"contact_points": [{"kind": "email", "value": "no address"}]}, "/contact_points/0/value"),
        ({"contact_points": [{"kind": "mobile", "value": "12"}]}, "/contact_points/0/value"),
        ({"contact_points": [{"kind": "pager", "value": "12"}]}, "/contact_points/0/kind"),
        (
            {"contact_points": [{"kind": "email", "value": "a@example.org"}] * 2},
            "/contact_points/1/value",
        ),
        ({"contact_points": [{"kind": "email", "value": "a@example.org"}] * 13}, "/contact_points"),
        ({"site": {"street": "1 Reef Road", "town": "Nowhere at all"}}, "/site/town"),
        ({"site": {"street": "1 Reef Road", "town": "X", "latitude": 44.0}}, "/site/longitude"),
        ({"site": {"town": "Lunenburg"}}, "/site/street"),
        ({"deck": {"species": "plastic"}}, "/deck/species"),
        ({"deck": {"area_m2": "0"}}, "/deck/area_m2"),
        ({"deck": {"built_year": 1492}}, "/deck/built_year"),
        ({"deck": {"roof_percent": 101}}, "/deck/roof_percent"),
    ],
)
def test_a_client_that_cannot_be_names_the_field_and_writes_nothing(
    writer: Program, wrong: dict[str, Any], pointer: str
) -> None:
    answer = writer.post("/clients", a_client() | wrong)

    assert answer.status_code == 422
    assert pointer in pointers(answer), answer.json()
    assert not Client.objects.exists()


def test_all_mistakes_are_named_at_once(writer: Program) -> None:
    wrong = a_client(
        name="–", deck={"area_m2": "0"}, contact_points=[{"kind": "email", "value": "x"}]
    )

    found = pointers(writer.post("/clients", wrong))

    assert set(found) == {"/name", "/deck/area_m2", "/contact_points/0/value"}


def test_a_town_that_is_several_is_asked_back_with_what_may_be_meant(writer: Program) -> None:
    call_command("load_places", verbosity=0)

    answer = writer.post("/clients", a_client(site={"street": "1 Reef Road", "town": "Lunenberg"}))
    known = writer.post("/clients", a_client(site={"street": "1 Reef Road", "town": "Lunenburg"}))

    mistake = next(each for each in answer.json()["errors"] if each["pointer"] == "/site/town")
    assert any("Lunenburg" in place for place in mistake["suggestions"])
    assert known.json()["site"]["time_zone"] == "America/Halifax"


def test_a_check_is_recorded(writer: Program) -> None:
    deck = DeckFactory()
    body = {"deck_id": deck.pk, "visited_on": "2026-06-12", "overall": 2, "reason": "routine"}

    answer = writer.post("/checks", body)

    row = Visit.objects.get()
    assert answer.status_code == 201
    assert answer.json()["id"] == row.pk
    assert (row.deck, row.overall, row.reason) == (deck, 2, "routine")


@pytest.mark.parametrize(
    ("wrong", "pointer"),
    [
        ({"overall": None}, "/overall"),
        ({"reason": None}, "/reason"),
        ({"visited_on": "2999-01-01"}, "/visited_on"),
        ({"visited_on": "0001-01-01"}, "/visited_on"),
        ({"moisture_percent": "201"}, "/moisture_percent"),
        ({"deck_id": 999_999}, "/deck_id"),
    ],
)
def test_a_check_that_tells_nothing_is_refused(
    writer: Program, wrong: dict[str, Any], pointer: str
) -> None:
    body = {"deck_id": DeckFactory().pk, "visited_on": "2026-06-12", "overall": 2}

    answer = writer.post("/checks", body | {"reason": "routine"} | wrong)

    assert answer.status_code == 422
    assert pointer in pointers(answer)
    assert not Visit.objects.exists()


def test_the_same_key_a_second_time_writes_nothing_and_is_answered_like_the_first(
    writer: Program,
) -> None:
    body = a_job(DeckFactory())

    first = writer.post("/jobs", body, key="abc")
    second = writer.post("/jobs", body, key="abc")

    assert (first.status_code, second.status_code) == (201, 201)
    assert first.content == second.content
    assert "Idempotent-Replayed" not in first
    assert second["Idempotent-Replayed"] == "true"
    assert Job.objects.count() == 1


def test_the_same_key_with_another_body_or_address_is_refused(writer: Program) -> None:
    deck = DeckFactory()
    writer.post("/jobs", a_job(deck), key="abc")
    check = {"deck_id": deck.pk, "visited_on": "2026-06-12", "overall": 2, "reason": "due"}

    other = writer.post("/jobs", a_job(deck, crew="Tern"), key="abc")
    elsewhere = writer.post("/checks", check, key="abc")

    for answer in (other, elsewhere):
        assert answer.status_code == 422
        assert answer.json()["errors"][0]["header"] == "Idempotency-Key"
    assert (Job.objects.count(), Visit.objects.count()) == (1, 0)


def test_a_key_is_of_one_program_alone(program: Callable[..., Program]) -> None:
    deck = DeckFactory()

    for name in ("Van 1", "Van 2"):
        assert program("write", name).post("/jobs", a_job(deck), key="1").status_code == 201

    assert Job.objects.count() == 2


def test_what_failed_may_be_put_right_and_sent_with_the_same_key(writer: Program) -> None:
    deck = DeckFactory()

    refused = writer.post("/jobs", a_job(deck, finished_on="2999-01-01"), key="abc")
    taken = writer.post("/jobs", a_job(deck), key="abc")

    assert (refused.status_code, taken.status_code) == (422, 201)


def test_after_a_week_the_answer_is_forgotten_but_a_job_is_still_not_doubled(
    writer: Program,
) -> None:
    deck = DeckFactory()
    writer.post("/jobs", a_job(deck), key="abc")
    KeptAnswer.objects.update(answered_at=datetime.now(UTC) - timedelta(days=8))

    again = writer.post("/jobs", a_job(deck), key="abc")

    assert again.status_code == 201
    assert "Idempotent-Replayed" not in again
    assert (Job.objects.count(), KeptAnswer.objects.count()) == (1, 1)


@pytest.mark.parametrize("key", [None, " ", "a" * 201, "ké"])
def test_without_a_good_key_nothing_is_written(writer: Program, key: str | None) -> None:
    answer = writer.post("/jobs", a_job(DeckFactory()), key=key)

    assert answer.status_code == 422
    assert answer.json()["errors"][0]["header"] == "Idempotency-Key"
    assert not Job.objects.exists()


def test_a_batch_is_not_made_twice_by_two_programs(writer: Program) -> None:
    oil = ProductFactory()
    deck = DeckFactory()
    for code in ("TW-1", "tw-1"):
        writer.post("/jobs", a_job(deck, coats=[{"product_id": oil.pk, "batch": code}]))

    assert Batch.objects.count() == 1


def test_a_client_who_is_in_the_book_is_not_touched(writer: Program) -> None:
    there = ClientFactory(name="Marlow Pennington", notes="Gate code 4711")

    writer.post("/clients", a_client())

    there.refresh_from_db()
    assert there.notes == "Gate code 4711"
    assert Client.objects.count() == 2


def test_of_an_erased_client_no_answer_is_kept_and_others_stay(
    writer: Program, owner: User
) -> None:
    made = writer.post("/clients", a_client(), key="1").json()
    other = writer.post("/jobs", a_job(DeckFactory()), key="2").json()
    deck = Deck.objects.get(pk=made["deck"]["id"])
    note = {"deck_id": deck.pk, "visited_on": "2026-06-12", "overall": 2, "reason": "due"}
    writer.post("/checks", note | {"notes": "Marlow Pennington was there"}, key="3")
    writer.post("/jobs", a_job(deck), key="4")

    erase_client(client=Client.objects.get(pk=made["client"]["id"]), by=owner, now=NOW)

    assert [row.key for row in KeptAnswer.objects.all()] == ["2"]
    assert other["id"]


def test_answers_are_forgotten_by_night_after_a_week(writer: Program) -> None:
    for key, days in (("old", 8), ("new", 6)):
        writer.post("/jobs", a_job(DeckFactory()), key=key)
        KeptAnswer.objects.filter(key=key).update(answered_at=NOW - timedelta(days=days))

    assert forget_answers_nightly() == 1
    assert KeptAnswer.objects.get().key == "new"


@pytest.mark.django_db(transaction=True)
def test_the_same_request_at_the_same_moment_writes_once() -> None:
    """On real connections: the second waits, and is told what the first made."""
    BusinessFactory()
    deck = DeckFactory()
    row, token = make_api_token(name="Van", role="write", by=UserFactory(), now=NOW)
    start = Barrier(4)

    def send(_number: int) -> Any:
        try:
            start.wait()
            return Program(token, row).post("/jobs", a_job(deck), key="same")
        finally:
            connections.close_all()

    with ThreadPoolExecutor(4) as pool:
        answers = list(pool.map(send, range(4)))

    assert [answer.status_code for answer in answers] == [201] * 4
    assert len({answer.content for answer in answers}) == 1
    assert sum("Idempotent-Replayed" in answer for answer in answers) == 3
    assert Job.objects.count() == 1
    close_old_connections()


def test_a_body_that_is_too_large_is_refused_as_problem_details(writer: Program) -> None:
    answer = writer.post("/jobs", a_job(DeckFactory(), notes="a" * 6_000_000))

    assert answer.status_code == 400
    assert answer["Content-Type"] == "application/problem+json"
    assert not Job.objects.exists()


def test_a_fault_of_ours_is_told_as_problem_details_and_keeps_nothing(
    writer: Program, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(**_options: Any) -> None:
        raise RuntimeError

    monkeypatch.setattr("restorer.api.writing.actions.log_job", fail)
    browser = Browser(raise_request_exception=False)
    headers = {"Authorization": f"Bearer {writer.token}", "Idempotency-Key": "1"}
    body = json.dumps(a_job(DeckFactory()))

    answer = browser.post("/api/v1/jobs", body, content_type="application/json", headers=headers)

    assert (answer.status_code, answer.json()["status"]) == (500, 500)
    assert answer["Content-Type"] == "application/problem+json"
    assert not KeptAnswer.objects.exists()


def test_a_coat_without_surfaces_is_on_all_that_the_deck_has_and_others_are_refused(
    writer: Program, owner: User
) -> None:
    deck = DeckFactory(rail_m=8)
    oil = ProductFactory()

    first = writer.post("/jobs", a_job(deck, coats=[{"product_id": oil.pk}]))
    rails = [{"product_id": oil.pk, "surfaces": ["rails"]}]
    second = writer.post("/jobs", a_job(deck, kind="strip", coats=rails))
    stairs = [{"product_id": oil.pk, "surfaces": ["stairs"]}]
    refused = writer.post("/jobs", a_job(deck, coats=stairs))

    assert first.json()["coats"][0]["surfaces"] == ["boards", "rails"]
    assert second.json()["coats"][0]["surfaces"] == ["rails"]
    assert refused.status_code == 422
    assert pointers(refused) == {
        "/coats/0/surfaces": "This deck has no stairs in the book. Write its size first."
    }
