"""A job is corrected and removed, and the apps above hear of it."""

from collections.abc import Callable, Collection, Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from auditlog.models import LogEntry
from django.test import Client
from django.utils import timezone

from clients.events import decks_changed
from clients.models import User
from jobs import actions
from jobs.actions.jobs import JobError, JobInput, NewJob
from jobs.models import Batch, CoatApplied, Job, Visit
from tests.factories import (
    BatchFactory,
    CoatFactory,
    DeckFactory,
    JobFactory,
    ProductFactory,
    VisitFactory,
)
from tests.jobs.log_page import filled, row

pytestmark = pytest.mark.django_db
AsUser = Callable[[User], Client]


@pytest.fixture
def told() -> Iterator[list[list[int]]]:
    """The decks that the apps above were told about."""
    calls: list[list[int]] = []

    def hear(*, deck_ids: Collection[int], **_signal: object) -> None:
        calls.append(list(deck_ids))

    decks_changed.connect(hear)
    yield calls
    decks_changed.disconnect(hear)


def job_with(**values: object) -> Job:
    visit = VisitFactory()
    return JobFactory(
        deck=visit.deck, kind="recoat", finished_on=date(2026, 6, 10), visit=visit, **values
    )


def test_a_correction_changes_the_job_its_products_and_its_grades_and_the_forecast_hears_of_it(
    as_user: AsUser, crew: User, told: list[list[int]]
) -> None:
    job = job_with()
    old = CoatFactory(job=job, position=1)
    CoatFactory(job=job, position=2)
    stain = ProductFactory(finish_class="semitransparent")

    response = as_user(crew).post(
        f"/jobs/{job.pk}/edit/",
        filled(
            job.deck,
            row(stain, colour="Bark", coats=1, litres="3.5"),
            overall="4",
            finished_on="2026-06-09",
        ),
    )

    assert response["Location"] == f"/jobs/{job.pk}/"
    job = Job.objects.get()
    coat = job.coats_applied.get()
    assert (coat.pk, coat.product, coat.colour, coat.coats, coat.litres) == (
        old.pk,
        stain,
        "Bark",
        1,
        Decimal("3.5"),
    )
    assert (job.finished_on, job.visit.visited_on, job.visit.overall) == (
        date(2026, 6, 9),
        date(2026, 6, 9),
        4,
    )
    assert told == [[job.deck_id]]


def test_the_correction_page_shows_what_was_logged_and_saving_it_unchanged_changes_nothing(
    as_owner: Client,
) -> None:
    job = job_with(air_c=Decimal("19.5"), sky="cloud", notes="Gate.")
    batch = BatchFactory(code="TW-1")
    CoatFactory(job=job, batch=batch, product=batch.product, litres=Decimal("4.25"))
    page = as_owner.get(f"/jobs/{job.pk}/edit/").context["page"]
    typed = {
        field.html_name: field.value() for field in page.job if field.value() not in (None, [])
    }
    for form in page.rows:
        typed |= {field.html_name: field.value() for field in form if field.value() is not None}
    before = [
        list(model.objects.order_by("pk").values()) for model in (Job, Visit, CoatApplied, Batch)
    ]

    response = as_owner.post(
        f"/jobs/{job.pk}/edit/", {**typed, "coats-TOTAL_FORMS": 1, "coats-INITIAL_FORMS": 0}
    )

    assert response.status_code == 302
    after = [
        list(model.objects.order_by("pk").values()) for model in (Job, Visit, CoatApplied, Batch)
    ]
    before[1][0] |= {
        "found_by": "Tern crew",
        "visited_on": date(2026, 6, 10),
    }  # a visit follows its job
    before[2][0]["position"] = 1
    assert after == before


def test_taking_all_grades_back_takes_the_visit_back(as_owner: Client) -> None:
    job = job_with()

    as_owner.post(
        f"/jobs/{job.pk}/edit/", filled(job.deck, row(ProductFactory()), overall="", reason="")
    )

    assert Job.objects.get().visit is None
    assert Visit.objects.count() == 0


def test_only_the_owner_removes_a_job(as_user: AsUser, office: User, crew: User) -> None:
    job = JobFactory()

    for user in (office, crew):
        assert (
            as_user(user).post(f"/jobs/{job.pk}/remove/", {"reason": "Wrong deck"}).status_code
            == 403
        )
        with pytest.raises(JobError, match="Only the owner"):
            actions.remove_job(job=job, reason="Wrong deck", by=user, now=timezone.now())
    assert Job.objects.count() == 1


def test_a_job_is_removed_with_a_reason_that_the_audit_trail_keeps(
    as_owner: Client,
    told: list[list[int]],
    django_capture_on_commit_callbacks: Callable[..., Any],
) -> None:
    job = job_with()
    CoatFactory(job=job)

    assert as_owner.post(f"/jobs/{job.pk}/remove/", {"reason": " "}).status_code == 200
    assert Job.objects.count() == 1
    with django_capture_on_commit_callbacks(execute=True):
        response = as_owner.post(f"/jobs/{job.pk}/remove/", {"reason": "Logged on the wrong deck"})

    assert response["Location"] == f"/decks/{job.deck_id}/"
    assert (Job.objects.count(), CoatApplied.objects.count(), Visit.objects.count()) == (0, 0, 0)
    entry = LogEntry.objects.get(
        object_pk=str(job.pk), content_type__model="job", action=LogEntry.Action.DELETE
    )
    assert entry.additional_data == {"why": "Logged on the wrong deck"}
    assert entry.actor.username == "maren"
    assert "2026-06-10" in str(entry.changes)
    assert told == [[job.deck_id]]


def test_what_hangs_on_a_job_runs_in_its_transaction(as_owner: Client) -> None:
    """If the forecast cannot be refreshed, the job is not half in the book."""

    def fail(**_signal: object) -> None:
        raise RuntimeError("no forecast today")

    deck = DeckFactory()
    oil = ProductFactory()
    decks_changed.connect(fail)
    try:
        with pytest.raises(RuntimeError, match="no forecast today"):
            as_owner.post("/jobs/log/", filled(deck, row(oil), finished_on="2026-06-10"))
    finally:
        decks_changed.disconnect(fail)

    assert (Job.objects.count(), CoatApplied.objects.count(), Visit.objects.count()) == (0, 0, 0)


def test_a_job_in_the_future_is_refused_by_the_action_itself(owner: User, business: object) -> None:
    with pytest.raises(JobError, match="in the future"):
        actions.log_job(
            new=NewJob(
                DeckFactory(),
                JobInput({"kind": "clean", "finished_on": date(2026, 6, 12)}),
                Job._meta.get_field("form_key").get_default(),
            ),
            by=owner,
            now=datetime(2026, 6, 12, 2, 30, tzinfo=UTC) - timedelta(hours=0),
        )
