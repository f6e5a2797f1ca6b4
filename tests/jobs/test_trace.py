"""The trace of a batch, a product or a time to its end: pages, papers, and telling exactly
those."""

import csv
import io
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client as Browser
from django.utils import timezone

from clients.messaging.models import Message
from clients.models import Client, ContactPoint, Deck, User
from jobs.models import Batch, CoatApplied, Product
from tests.clients.test_stop_words import row
from tests.factories import (
    BatchFactory,
    ClientFactory,
    CoatFactory,
    DeckFactory,
    EmailFactory,
    JobFactory,
    PhoneFactory,
    ProductFactory,
)

__all__ = ["row"]
pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("business")]
AsUser = Callable[[User], Browser]
NOTICE = "The maker takes this batch back. It is safe to walk on. We come and look at no charge."


@pytest.fixture
def oil() -> Product:
    return ProductFactory(name="Saltmarsh Oil", maker="Tidewood")


@pytest.fixture
def batch(oil: Product) -> Batch:
    return BatchFactory(product=oil, code="SM-24/117")


def coated(name: str, batch: Batch | None, day: str, **values: Any) -> Deck:
    product = values.pop("product", None) or (batch.product if batch else None)
    deck = DeckFactory(site__client=ClientFactory(name=name, **values), label="Lower deck")
    job = JobFactory(deck=deck, finished_on=date.fromisoformat(day))
    CoatFactory(job=job, product=product, batch=batch, litres=Decimal("3.50"), colour="Honey")
    return deck


def client_of(deck: Deck) -> Client:
    return deck.site.client


def names(page: str, *wanted: str) -> set[str]:
    return {name for name in wanted if name in page}


def test_a_product_is_traced_in_a_span_of_days(
    as_owner: Browser, oil: Product, batch: Batch
) -> None:
    coated("Ottilie Saltonby", batch, "2024-05-14")
    coated("Halvard Quill", None, "2024-06-02", product=oil)
    coated("Perpetua Lowe", None, "2025-06-02", product=oil)
    coated("Marlow Unrelated", BatchFactory(), "2024-06-02")
    everybody = ("Ottilie Saltonby", "Halvard Quill", "Perpetua Lowe", "Marlow Unrelated")

    def traced(**fields: object) -> set[str]:
        return names(as_owner.get("/jobs/trace/", fields).content.decode(), *everybody)

    assert traced(product=oil.pk) == set(everybody[:3])
    assert traced(product=oil.pk, first_day="2024-01-01", last_day="2024-12-31") == set(
        everybody[:2]
    )
    assert traced(first_day="2024-06-01", last_day="2024-06-30") == {
        "Halvard Quill",
        "Marlow Unrelated",
    }
    assert traced(last_day="2024-05-31") == {"Ottilie Saltonby"}
    assert traced() == set()


def test_a_job_of_an_unknown_day_counts_for_all_of_its_days(
    as_owner: Browser, oil: Product
) -> None:
    deck = coated("Ottilie Saltonby", None, "2024-12-31", product=oil)
    deck.jobs.update(finished_from=date(2024, 1, 1))

    for first, last, is_found in [
        ("2024-03-01", "2024-03-31", True),
        ("2023-06-01", "2024-01-01", True),
        ("2023-06-01", "2023-12-31", False),
        ("2025-01-01", "2025-03-31", False),
    ]:
        page = as_owner.get("/jobs/trace/", {"first_day": first, "last_day": last})
        assert ("Ottilie Saltonby" in page.content.decode()) is is_found, (first, last)


def test_the_trace_says_decks_people_and_litres(as_owner: Browser, batch: Batch) -> None:
    deck = coated("Ottilie Saltonby", batch, "2024-05-14")
    CoatFactory(
        job__deck=DeckFactory(site=deck.site),
        product=batch.product,
        batch=batch,
        litres=Decimal("1.50"),
    )

    page = as_owner.get(f"/jobs/batches/{batch.pk}/").content.decode()

    said = " ".join(page.split())  # no-break spaces too
    assert "2 decks of 1 client · 5 L · went on 2 times" in said


def test_coats_without_a_batch_in_the_same_days_are_pointed_at(
    as_owner: Browser, oil: Product, batch: Batch
) -> None:
    coated("Ottilie Saltonby", batch, "2024-05-14")
    coated("Halvard Quill", batch, "2024-07-14")
    coated("Perpetua Lowe", None, "2024-06-02", product=oil)
    coated("Marlow Pennington", None, "2025-06-02", product=oil)

    page = as_owner.get(f"/jobs/batches/{batch.pk}/").content.decode()

    assert "went on 1 more time in those days without a batch noted" in page


def test_the_csv_has_a_row_a_product_that_went_on(as_owner: Browser, batch: Batch) -> None:
    deck = coated("=Ottilie", batch, "2024-05-14")
    EmailFactory(client=client_of(deck), value="ottilie@example.org")
    PhoneFactory(client=client_of(deck), value="902-555-0147")

    answer = as_owner.get("/jobs/trace/", {"batch": batch.pk, "format": "csv"})
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))

    assert answer["Content-Disposition"] == f'attachment; filename="trace-{batch.pk}.csv"'
    assert len(rows) == 1
    wanted = {
        "client": "'=Ottilie",
        "finished_on": "2024-05-14",
        "product": "Saltmarsh Oil",
        "batch": "SM-24/117",
        "litres": "3.50",
        "emails": "ottilie@example.org",
        "phones": "+19025550147",
    }
    assert {name: rows[0][name] for name in wanted} == wanted


def test_the_pdf_is_a_pdf(as_owner: Browser, batch: Batch) -> None:
    coated("Ottilie Saltonby", batch, "2024-05-14")

    answer = as_owner.get("/jobs/trace/", {"batch": batch.pk, "format": "pdf"})

    assert answer["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"first_day": "2024-02-31"}, "This is not a day of the calendar"),
        ({"first_day": "2024-03-02", "last_day": "2024-03-01"}, "must not be before the first"),
        ({"batch": "99999999"}, "This batch is not on file"),
        ({"product": "x"}, "Select a valid choice"),
    ],
)
def test_a_wrong_choice_is_named_and_nothing_is_traced(
    as_owner: Browser, batch: Batch, fields: dict[str, str], said: str
) -> None:
    coated("Ottilie Saltonby", batch, "2024-05-14")

    page = as_owner.get("/jobs/trace/", fields).content.decode()

    assert said in page
    assert "Ottilie Saltonby" not in page
    assert as_owner.get("/jobs/trace/recall/", fields).status_code == 302
    assert as_owner.get("/jobs/trace/", {**fields, "format": "csv"}).status_code == 200


def recall(browser: Browser, batch: Batch, **fields: str) -> Any:
    return browser.post(f"/jobs/trace/recall/?batch={batch.pk}", fields)


def test_the_page_lists_who_is_told_how_and_whom_it_cannot_tell(
    as_owner: Browser, batch: Batch
) -> None:
    by_mail = coated("Ottilie Saltonby", batch, "2024-05-14")
    EmailFactory(client=client_of(by_mail), value="ottilie@example.org")
    coated("Halvard Quill", batch, "2024-05-15")  # no address but the house
    gone = coated("Perpetua Lowe", batch, "2024-05-16", archived_at=timezone.now())
    PhoneFactory(client=client_of(gone), value="902-555-0147")

    page = as_owner.get("/jobs/trace/recall/", {"batch": batch.pk}).content.decode()

    assert "Tell 2 clients?" in page
    assert '<option value="email" selected>E-mail: ottilie@example.org</option>' in page
    assert '<option value="letter" selected>' in page
    begins = page.index("phone or write by hand")
    by_hand = page[begins : page.index("</section>", begins)]
    assert "Perpetua Lowe" in by_hand
    assert "(902) 555-0147" in by_hand
    assert "The client is archived." in by_hand
    assert Message.objects.count() == 0


def test_exactly_those_are_told_once_however_often_it_is_pressed(
    as_owner: Browser, batch: Batch
) -> None:
    """No consent was ever given: the message is about work that was done."""
    deck = coated("Ottilie Saltonby", batch, "2024-05-14")
    EmailFactory(client=client_of(deck), value="ottilie@example.org")
    other = coated("Marlow Unrelated", BatchFactory(), "2024-05-14")
    EmailFactory(client=client_of(other))
    left = coated("Halvard Quill", batch, "2024-05-15")
    EmailFactory(client=client_of(left))
    fields = {
        f"way_{client_of(deck).pk}": "email",
        f"way_{client_of(other).pk}": "email",
        f"way_{client_of(left).pk}": "",
        "notice_en": NOTICE,
    }

    first = recall(as_owner, batch, **fields)
    second = recall(as_owner, batch, **{**fields, f"way_{client_of(deck).pk}": "letter"})

    assert first.status_code == second.status_code == 302
    message = Message.objects.get()
    assert (message.client, message.channel, message.kind, message.basis) == (
        client_of(deck),
        "email",
        "service",
        "service",
    )
    assert message.subject == "Please read: Saltmarsh Oil on your deck"
    assert NOTICE in message.text
    assert "Saltmarsh Oil, Honey, batch SM-24/117 (May 14, 2024)" in message.text
    page = as_owner.get("/jobs/trace/recall/", {"batch": batch.pk}).content.decode()
    assert f"/outbox/{message.pk}/" in page


def test_other_words_are_another_notice(as_owner: Browser, batch: Batch) -> None:
    deck = coated("Ottilie Saltonby", batch, "2024-05-14")
    EmailFactory(client=client_of(deck))
    way = {f"way_{client_of(deck).pk}": "email"}

    recall(as_owner, batch, notice_en=NOTICE, **way)
    recall(as_owner, batch, notice_en="It was a false alarm.", **way)

    assert Message.objects.count() == 2


def test_each_is_told_by_their_way_and_in_their_language(
    as_owner: Browser, batch: Batch, row: Any
) -> None:
    by_text = coated("Ottilie Saltonby", batch, "2024-05-14", preferred_channel="text")
    PhoneFactory(client=client_of(by_text), value="902-555-0147")
    by_letter = coated("Halvard Quill", batch, "2024-05-15")
    by_call = coated("Aurèle Dupuis", batch, "2024-05-16", language="fr", preferred_channel="call")
    PhoneFactory(client=client_of(by_call), value="902-555-0148")
    page = as_owner.get("/jobs/trace/recall/", {"batch": batch.pk}).content.decode()
    assert "in English" in page
    assert "in Français" in page

    recall(
        as_owner,
        batch,
        notice_en=NOTICE,
        notice_fr="Le fabricant reprend ce lot.",
        **{
            f"way_{client_of(by_text).pk}": "text",
            f"way_{client_of(by_letter).pk}": "letter",
            f"way_{client_of(by_call).pk}": "call",
        },
    )

    texts = {message.channel: message.text for message in Message.objects.all()}
    assert set(texts) == {"text", "letter", "call"}
    assert "about Saltmarsh Oil on your deck" in texts["text"]
    assert "Le fabricant reprend ce lot." in texts["call"]
    assert "lot SM-24/117" in texts["call"]
    assert NOTICE in texts["letter"]


def test_without_words_or_clients_nothing_is_sent(as_owner: Browser, batch: Batch) -> None:
    deck = coated("Ottilie Saltonby", batch, "2024-05-14")
    EmailFactory(client=client_of(deck), value="ottilie@example.org")
    way = {f"way_{client_of(deck).pk}": "letter"}

    empty = recall(as_owner, batch, notice_en="  ", **way).content.decode()
    nobody = recall(as_owner, batch, notice_en=NOTICE).content.decode()

    assert "Write what these clients have to know." in empty
    assert '<option value="letter" selected>' in empty  # what was chosen stays
    assert "Choose at least one client to tell." in nobody
    assert NOTICE in nobody
    assert Message.objects.count() == 0


def test_a_suppressed_or_forged_way_is_left_out(as_owner: Browser, batch: Batch) -> None:
    deck = coated("Ottilie Saltonby", batch, "2024-05-14")
    EmailFactory(client=client_of(deck))
    ContactPoint.objects.update(suspended_at=timezone.now(), suspended_why="It bounced.")

    answer = recall(as_owner, batch, notice_en=NOTICE, **{f"way_{client_of(deck).pk}": "email"})

    assert Message.objects.count() == 0
    assert answer.status_code == 302


def test_the_confirm_page_asks_as_often_for_many_as_for_few(
    as_owner: Browser, batch: Batch, django_assert_max_num_queries: Callable[[int], Any]
) -> None:
    for number in range(25):
        deck = coated(f"Ottilie Saltonby {number}", batch, "2024-05-14")
        EmailFactory(client=client_of(deck))

    with django_assert_max_num_queries(25):
        page = as_owner.get("/jobs/trace/recall/", {"batch": batch.pk})
    assert len(page.context["rows"]) == 25


def test_the_crew_sees_the_trace_and_tells_nobody(
    as_user: AsUser, crew: User, batch: Batch
) -> None:
    coated("Ottilie Saltonby", batch, "2024-05-14")
    browser = as_user(crew)

    assert "Tell these clients" not in browser.get(f"/jobs/batches/{batch.pk}/").content.decode()
    assert browser.get("/jobs/trace/recall/", {"batch": batch.pk}).status_code == 403
    assert CoatApplied.objects.count() == 1
