"""What text messages cost: the price of a part, the months of the outbox, rounded once."""

from datetime import UTC, datetime
from decimal import Decimal

import pytest
from django.test import Client as Browser
from freezegun import freeze_time
from hypothesis import given
from hypothesis import strategies as st

from clients import display
from clients.messaging import text_costs
from clients.messaging.models import Message, TextGateway
from clients.models import Business
from tests.clients.test_gateway_page import FORM
from tests.factories import ClientFactory, MessageFactory
from tests.gateway import gateway_row

pytestmark = pytest.mark.usefixtures("business")


def taken(at: datetime, text: str = "Deck care is due.", **over: object) -> Message:
    values = {
        "channel": "text",
        "state": "accepted",
        "address": "+19025550101",
        "accepted_at": at,
        "text": text,
    }
    return MessageFactory(client=ClientFactory(), **(values | over))


def rows(browser: Browser) -> list[list[str]]:
    """The page as it stands on 3 December 2026: month, messages, parts, about."""
    with freeze_time("2026-12-03 15:00"):
        months = browser.get("/outbox/texts/").context["months"]
    return [[f"{each.month:%Y-%m}", each.messages, each.parts, each.cost] for each in months]


def test_a_month_costs_its_parts_by_the_clock_of_the_business(as_owner: Browser) -> None:
    gateway_row("http://127.0.0.1:1/x", part_price=Decimal("0.0075"))
    taken(datetime(2026, 12, 1, 3, 59, tzinfo=UTC))  # in Halifax (UTC−4) still 30 November
    taken(
        datetime(2026, 12, 1, 4, 0, tzinfo=UTC), "a" * 161
    )  # 3GPP TS 23.038: 153 septets a part when joined
    taken(
        datetime(2026, 12, 2, 4, 0, tzinfo=UTC), "ā" * 71, state="delivered"
    )  # 67 a part in UCS-2
    taken(datetime(2026, 12, 2, 4, 0, tzinfo=UTC), channel="email", address="x@example.org")
    taken(None, state="unconfirmed")
    taken(None, state="queued")

    found = rows(as_owner)

    assert found[:3] == [
        ["2026-12", 2, 4, Decimal("0.03")],
        ["2026-11", 1, 1, Decimal("0.01")],
        ["2026-10", 0, 0, Decimal("0.00")],
    ]
    assert len(found) == 6
    page = as_owner.get("/outbox/texts/").content.decode()
    assert "parts times 0.0075 CAD" in page
    assert "1 unconfirmed is not counted" in page


def test_without_a_price_there_are_parts_and_no_sum(as_owner: Browser) -> None:
    taken(datetime(2026, 12, 2, 4, 0, tzinfo=UTC))

    assert rows(as_owner)[0] == ["2026-12", 1, 1, None]
    page = as_owner.get("/outbox/texts/").content.decode()
    assert "nobody has entered what a part costs" in page
    assert "About</th>" not in page


@pytest.mark.parametrize(
    ("typed", "kept", "said"),
    [
        ("0.0079", Decimal("0.00790"), "Saved."),
        ("", None, "Saved."),
        ("0", Decimal(0), "Saved."),
        ("-1", None, "greater than or equal to 0"),
        ("0.0000001", None, "no more than 5 decimal places"),
        ("cheap", None, "Enter a number"),
    ],
)
def test_the_owner_enters_the_price_of_a_part(
    as_owner: Browser, typed: str, kept: Decimal | None, said: str
) -> None:
    page = as_owner.post(
        "/settings/gateway/", FORM | {"part_price": typed}, follow=True
    ).content.decode()

    assert said in page
    assert [row.part_price for row in TextGateway.objects.all()] == (
        [kept] if said == "Saved." else []
    )


@given(parts=st.integers(0, 10_000), price=st.decimals(0, 10, places=5))
def test_it_is_rounded_half_up_once(parts: int, price: Decimal) -> None:
    for currency, coin in (
        ("CAD", Decimal("0.01")),
        ("JPY", Decimal(1)),
    ):  # ISO 4217: two decimals, none
        with display.override_business(Business(name="x", currency=currency)):
            cost = text_costs.text_cost(parts, price)
        assert cost is not None
        assert -coin / 2 < cost - parts * price <= coin / 2
        assert cost == cost.quantize(coin)
