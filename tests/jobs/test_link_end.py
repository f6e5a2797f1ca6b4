"""A link to an offer ends some months after the matter is settled;
then it shows nothing of it to anybody."""

from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.test import Client as Browser
from django.utils.html import strip_tags
from freezegun import freeze_time

from clients.models import Business
from jobs.models import Booking, Offer, OfferEvent
from tests.factories import CrewFactory
from tests.jobs.sent_offers import page_of, question, sent_offer

pytestmark = pytest.mark.usefixtures("business")
NOON = "{} 15:00:00"  # UTC, noon in Nova Scotia


def status(browser: Browser, url: str, day: str) -> int:
    with freeze_time(NOON.format(day), ignore=["psycopg"]):
        return browser.get(url).status_code


@pytest.mark.parametrize(
    ("values", "last", "first_without"),
    [
        (
            {"state": "declined", "answered_at": datetime(2027, 5, 10, 12, tzinfo=UTC)},
            "2028-06-09",
            "2028-06-10",
        ),
        ({"state": "open"}, "2028-06-30", "2028-07-01"),  # stood until June 1, 2027
        ({"state": "withdrawn"}, "2028-06-30", "2028-07-01"),
    ],
)
def test_it_ends_thirteen_months_after_the_answer_or_the_last_day(
    client: Browser, values: dict[str, Any], last: str, first_without: str
) -> None:
    offer, url = sent_offer()
    Offer.objects.filter(pk=offer.pk).update(**values)

    before = status(client, url, last)
    with freeze_time(NOON.format(first_without), ignore=["psycopg"]):
        page = page_of(client, url)
        answer = client.get(url)
        assert client.post(url, question("Still there?")).status_code == 410
        assert client.get(f"{url}offer.pdf").status_code == 404

    assert before == (200 if values["state"] == "declined" else 410)
    assert answer.status_code == 410  # RFC 9110, 15.5.11
    assert (answer["Referrer-Policy"], answer["X-Robots-Tag"][:7]) == ("no-referrer", "noindex")
    assert "This link has ended" in page
    said = strip_tags(page)  # a number of the offer may stand in a colour, or in our telephone
    for word in (offer.client.name, offer.site.street, f"Offer {offer.reference}", "$572.77"):
        assert word not in said
    assert not OfferEvent.objects.exists()


def test_the_visit_counts_and_so_do_the_months_of_the_owner_and_staff_see_it_still(
    client: Browser, as_owner: Browser
) -> None:
    offer, url = sent_offer()
    answered = {
        "answered_at": datetime(2027, 5, 10, 12, tzinfo=UTC),
        "accepted_week": date(2027, 9, 13),
    }
    Offer.objects.filter(pk=offer.pk).update(state="accepted", **answered)
    Booking.objects.create(
        offer=offer,
        client=offer.client,
        site=offer.site,
        crew=CrewFactory(),
        hours=6,
        first_on=date(2027, 9, 14),
        last_on=date(2027, 9, 15),
    )
    assert (status(client, url, "2028-10-14"), status(client, url, "2028-10-15")) == (200, 410)

    Business.objects.update(answered_link_months=1)
    assert (status(client, url, "2027-10-14"), status(client, url, "2027-10-15")) == (200, 410)

    Booking.objects.update(state="cancelled")
    assert (status(client, url, "2027-06-09"), status(client, url, "2027-06-10")) == (200, 410)
    assert as_owner.get(f"/offers/{offer.pk}/").status_code == 200
