"""May this client be reached, by what, on what basis? One rule: for one client, for many, and in
the SQL of the final check."""

from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta
from itertools import product
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import connection, transaction
from django.test import Client as Browser
from django.utils import timezone
from freezegun import freeze_time
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from clients.messaging import suppression
from clients.messaging.law import NONE_NEEDED
from clients.messaging.law.rules import add_months
from clients.messaging.models import Message, MessageEvent
from clients.messaging.outbox.compliance import limit_validity
from clients.messaging.outbox.permission import reasons_not_to_send
from clients.messaging.reach import ContactPurpose, Reach, Refusal, Route, route_to
from clients.models import STREET_NOT_KNOWN, Business, Channel, Client
from tests.business_day import today_there
from tests.factories import (
    ClientFactory,
    ConsentFactory,
    DeckFactory,
    EmailFactory,
    JobFactory,
    PhoneFactory,
    PropertyFactory,
)
from tests.outbox import queued

pytestmark = pytest.mark.usefixtures("business")

MARKETING = ContactPurpose.MARKETING
BOOKING = ContactPurpose.BOOKING
CHANNELS = list(Channel.values)
# A day east of the date line, a day west of it, and two between: the business's day is often not
# the day in UTC.
BUSINESS_ZONES = ["Pacific/Kiritimati", "Pacific/Pago_Pago", "America/Halifax", "UTC"]

channels = st.sampled_from(CHANNELS)
days_off = st.integers(-1, 1)
countries = st.sampled_from(["CA", "US", "NZ", "DE", "BR"])
consents = st.fixed_dictionaries(
    {
        "channel": channels,
        "is_given": st.sampled_from([True, True, False]),
        "basis": st.sampled_from(["express", "written", "customer", "inquiry", "inquiry"]),
        # At midnight of the business, so many months before today and a day more or less.
        "months": st.sampled_from([0, 3, 6, 24]),
        "days": days_off,
        "minutes": st.integers(-3, 3),
        "expires_in": st.none() | days_off,
    }
)
points = st.tuples(st.sampled_from(["email", "mobile", "phone"]), st.booleans())
people_described = st.fixed_dictionaries(
    {
        "is_archived": st.sampled_from([False, False, False, True]),
        "countries": st.lists(countries, max_size=2),
        "postal": st.sampled_from([None, None, "", "NZ"]),
        "points": st.lists(points, max_size=5),
        "last_job": st.none() | st.tuples(st.sampled_from([3, 18, 24]), days_off),
        "consents": st.lists(consents, max_size=4),
        "suppressed": st.sets(channels, max_size=1),
    }
)
NOBODY: dict[str, Any] = {
    "is_archived": False,
    "countries": [],
    "postal": None,
    "points": [],
    "last_job": None,
    "consents": [],
    "suppressed": set(),
}
ASKED_BEFORE_MIDNIGHT = {
    "channel": "email",
    "is_given": True,
    "basis": "inquiry",
    "months": 6,
    "days": 0,
    "minutes": -1,
    "expires_in": None,
}
RAN_OUT_YESTERDAY = NOBODY | {
    "countries": ["CA"],
    "points": [("email", False)],
    "consents": [ASKED_BEFORE_MIDNIGHT],
}
changes_of_mind = st.tuples(
    st.integers(0, 2),
    st.sampled_from(["withdraw", "agree", "suppress", "suspend", "archive"]),
    channels,
)


def database_now() -> datetime:
    with connection.cursor() as cursor:
        cursor.execute("SELECT now()")
        found: datetime = cursor.fetchone()[0]
        return found


def months_before(day: date, months: int, days: int) -> date:
    return add_months(day, -months) + timedelta(days=days)


def add_person(person: dict[str, Any], number: int, business: Business, now: datetime) -> Client:
    today = business.today(now)
    client: Client = ClientFactory(archived_at=now if person["is_archived"] else None)
    if person["postal"] is not None:
        client.postal_street = "9 Tern Wharf"
        client.postal_country = person["postal"]
        client.save()
    homes = [PropertyFactory(client=client, country=each) for each in person["countries"]]
    if homes and person["last_job"]:
        finished_on = months_before(today, *person["last_job"])
        JobFactory(deck=DeckFactory(site=homes[0]), finished_on=finished_on)
    add_points(client, number, person["points"], now)
    for entry in person["consents"]:
        add_consent(client, entry, business, now)
    contacts = Reach([client.pk], business=business)
    for channel in person["suppressed"]:
        suppress_used_address(client, channel, contacts)
    return client


def add_points(client: Client, number: int, chosen: Sequence[Any], now: datetime) -> None:
    kinds: set[str] = set()
    for place, (kind, is_suspended) in enumerate(chosen):
        suspended = {"suspended_at": now, "suspended_why": "Bounced"} if is_suspended else {}
        values = {"client": client, "is_preferred": kind not in kinds, **suspended}
        kinds.add(kind)
        if kind == "email":
            EmailFactory(value=f"Person{number}.{place}@example.org", **values)
        else:
            PhoneFactory(kind=kind, value=f"902-555-{number}{place:03d}", **values)


def add_consent(client: Client, entry: dict[str, Any], business: Business, now: datetime) -> None:
    today = business.today(now)
    day = months_before(today, entry["months"], entry["days"])
    midnight = datetime(day.year, day.month, day.day, tzinfo=business.zone)
    expires_in = entry["expires_in"]
    ConsentFactory(
        client=client,
        channel=entry["channel"],
        is_given=entry["is_given"],
        basis=entry["basis"],
        expires_on=None if expires_in is None else today + timedelta(days=expires_in),
        recorded_at=min(now, midnight + timedelta(minutes=entry["minutes"])),
    )


def suppress_used_address(client: Client, channel: str, contacts: Reach) -> None:
    if address := contacts.address(client.pk, channel):
        suppression.suppress_address(
            business=contacts.business, channel=channel, address=address, reason="asked"
        )


def change_client_state(
    client: Client, kind: str, channel: str, business: Business, now: datetime
) -> None:
    if kind in {"withdraw", "agree"}:
        is_given = kind == "agree"
        ConsentFactory(
            client=client, channel=channel, is_given=is_given, basis="written", recorded_at=now
        )
    elif kind == "suppress":
        suppress_used_address(client, channel, Reach([client.pk], business=business))
    elif kind == "suspend":
        point = client.contact_points.filter(suspended_at=None).first()
        if point:
            point.suspended_at = now
            point.suspended_why = "Bounced"
            point.save()
    else:
        Client.objects.filter(pk=client.pk).update(archived_at=now)


def answers_of_both(
    clients: Sequence[Client], business: Business, on: date
) -> Iterator[tuple[tuple[Client, str, ContactPurpose], Route | Refusal]]:
    """For all at once, and the same for each alone."""
    many = Reach(Client.objects.order_by().values("pk"), business=business)
    rows = Client.objects.in_bulk()
    for client in clients:
        alone = Reach.of(rows[client.pk], business=business)
        for channel, purpose in product(CHANNELS, [MARKETING, BOOKING]):
            answer = many.route(client.pk, channel, purpose, on=on)
            assert answer == alone.route(client.pk, channel, purpose, on=on)
            yield (client, channel, purpose), answer


def planned_message(client: Client, purpose: ContactPurpose, route: Route) -> Message:
    """A message as it is frozen when it is planned: it ends with its basis."""
    key = f"{client.pk}/{purpose}/{route.channel}"
    made = Message(
        client=client,
        kind="reminder" if purpose == MARKETING else "service",
        channel=route.channel,
        address=route.address,
        text="The finish on your deck is due.",
        consent=route.permission.consent(),
        basis=route.permission.basis,
        idempotency_key=key,
        message_id=key,
    )
    if purpose == MARKETING:
        limit_validity(Business.objects.get(), made, route.permission.rule, client)
    made.save()
    return made


def still_stands(before: Route, now: Route | Refusal, today: date, *, has_objected: bool) -> bool:
    """Whether a message that was planned by one route may go by the rule of today: to the same
    address, on the basis that it was planned on."""
    if isinstance(now, Refusal) or now.address != before.address:
        return False
    if now.permission == before.permission:
        return True
    ends_on = before.permission.law_ends_on
    if ends_on and ends_on < today:
        return False
    if before.permission.basis == NONE_NEEDED:
        return not has_objected
    return now.permission.basis != NONE_NEEDED


@settings(
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@example(
    zone="America/Halifax",
    country="CA",
    book=[RAN_OUT_YESTERDAY, NOBODY, NOBODY],
    what_follows=[],
    planned_days_ago=1,
)
@given(
    zone=st.sampled_from(BUSINESS_ZONES),
    country=st.sampled_from(["CA", "US"]),
    book=st.lists(people_described, min_size=3, max_size=3),
    what_follows=st.lists(changes_of_mind, max_size=3),
    planned_days_ago=st.integers(0, 1),
)
def test_the_rule_for_one_for_many_and_the_final_check_say_the_same(
    zone: str,
    country: str,
    book: list[dict[str, Any]],
    what_follows: list[tuple[int, str, str]],
    planned_days_ago: int,
) -> None:
    """Messages are planned today or yesterday, then clients change their minds: the final check
    lets go exactly those that the rule would still let go."""
    with transaction.atomic():
        Business.objects.update(time_zone=zone, country=country)
        business = Business.objects.get()
        now = database_now()
        today = business.today(now)
        clients = [add_person(each, n, business, now) for n, each in enumerate(book, 1)]
        plan = {
            asked: (route, planned_message(asked[0], asked[2], route))
            for asked, route in answers_of_both(
                clients, business, today - timedelta(planned_days_ago)
            )
            if isinstance(route, Route)
        }

        for whom, kind, channel in what_follows:
            change_client_state(clients[whom], kind, channel, business, now)

        refused = reasons_not_to_send(
            business, [message for _, message in plan.values()], today=today
        )
        objectors = Reach([client.pk for client in clients]).objectors
        for asked, answer in answers_of_both(clients, business, today):
            if asked not in plan:
                continue
            route, message = plan[asked]
            stands = still_stands(route, answer, today, has_objected=asked[0].pk in objectors)
            assert (message.pk not in refused) == stands, (asked, route, answer, refused)
        transaction.set_rollback(True)


HALIFAX = ZoneInfo("America/Halifax")
LATE_EVENING = datetime(2026, 11, 24, 22, tzinfo=HALIFAX)  # the 25th in UTC


@pytest.fixture
def asking() -> Client:
    """A Canadian client who made an inquiry late in the evening; that counts for six months."""
    client: Client = PropertyFactory().client
    EmailFactory(client=client)
    ConsentFactory(client=client, basis="inquiry", recorded_at=LATE_EVENING)
    return client


def test_a_consent_counts_from_the_day_at_the_business_on_the_page_of_the_client(
    as_owner: Browser, asking: Client
) -> None:
    with freeze_time(LATE_EVENING + timedelta(days=1)):
        page = as_owner.get(f"/clients/{asking.pk}/").content.decode()

    assert "Allowed until May 24, 2027" in page


def test_on_the_day_after_it_ran_out_at_the_business_nothing_goes(asking: Client) -> None:
    assert isinstance(route_to(asking, "email", MARKETING, on=date(2027, 5, 24)), Route)
    late = route_to(asking, "email", MARKETING, on=date(2027, 5, 25))
    assert isinstance(late, Refusal)
    assert "expired on May 24, 2027" in late.why


def why_not_to_send(message: Message) -> dict[int, str]:
    business = Business.objects.get()
    return reasons_not_to_send(business, [message], today=business.today(timezone.now()))


def withdraw_on_page(browser: Browser, client: Client, channel: str) -> None:
    answer = browser.post(
        f"/clients/{client.pk}/consent/",
        {"channel": channel, "is_given": "no", "basis": "express", "wording": "No more"},
    )
    assert answer.status_code == 302


def test_the_page_of_the_client_shows_that_a_withdrawal_by_one_way_counts_for_the_letter(
    as_owner: Browser,
) -> None:
    client = PropertyFactory().client

    before = as_owner.get(f"/clients/{client.pk}/").content.decode()
    withdraw_on_page(as_owner, client, "email")
    after = as_owner.get(f"/clients/{client.pk}/").content.decode()

    assert "withdrew consent elsewhere" not in before
    assert "The client withdrew consent elsewhere, so they are left alone." in after


def test_no_letter_goes_to_a_house_without_a_street() -> None:
    """As an old list may have it; the first house that has one takes its place."""
    bare = PropertyFactory(street=STREET_NOT_KNOWN)
    client = bare.client

    refused = route_to(client, "letter", MARKETING, on=today_there())
    house = PropertyFactory(client=client, street="31 Curlew Row")
    route = route_to(client, "letter", MARKETING, on=today_there())

    assert isinstance(refused, Refusal)
    assert refused.why == "There is no postal address."
    assert isinstance(route, Route)
    assert route.address == house.postal_address


def test_a_letter_that_waits_does_not_go_once_the_client_withdrew_by_another_way(
    as_owner: Browser,
) -> None:
    client = PropertyFactory().client
    route = route_to(client, "letter", MARKETING, on=today_there())
    assert isinstance(route, Route)
    letter = planned_message(client, MARKETING, route)
    assert letter.basis == NONE_NEEDED

    withdraw_on_page(as_owner, client, "email")
    as_owner.post("/outbox/letters/new/")

    letter.refresh_from_db()
    assert (letter.state, letter.reply) == ("cancelled", "There is no consent in force.")


def test_who_withdrew_everywhere_is_still_told_about_a_booked_visit(as_owner: Browser) -> None:
    """Also as a letter, when nobody knows whether the e-mail went out."""
    client = PropertyFactory().client
    for channel in CHANNELS:
        withdraw_on_page(as_owner, client, channel)
    mail = queued(
        client=client,
        kind="service",
        consent=None,
        basis="booking",
        text="We come on Tuesday.",
        key="booking/1",
        now=timezone.now() - timedelta(days=4),
    )
    assert why_not_to_send(mail) == {}
    Message.objects.filter(pk=mail.pk).update(state="unconfirmed")
    MessageEvent.objects.create(
        message=mail, state="unconfirmed", at=timezone.now() - timedelta(hours=49)
    )

    as_owner.post(f"/outbox/{mail.pk}/by_letter/")

    letter = Message.objects.get(channel="letter")
    assert (letter.kind, letter.basis, letter.consent) == ("service", "booking", None)
    assert why_not_to_send(letter) == {}


def test_many_clients_are_asked_about_in_the_same_number_of_queries(
    business: Business, django_assert_num_queries: Any
) -> None:
    for count in (1, 9):
        for _ in range(count):
            client = PropertyFactory().client
            EmailFactory(client=client)
            ConsentFactory(client=client)
        clients = list(Client.objects.values_list("pk", flat=True))
        contacts = Reach(clients, business=business)
        with django_assert_num_queries(8):
            for pk, channel in product(clients, CHANNELS):
                contacts.route(pk, channel, MARKETING, on=date(2026, 11, 25))
