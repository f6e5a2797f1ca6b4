"""Today: what waits for a person, where every deck stands by the rule of the planning, and the same
list on paper, as CSV and under a name of its own."""

import csv
import io
import re
from datetime import date, timedelta

import pytest
from django.urls import reverse
from freezegun import freeze_time
from pypdf import PdfReader

from clients.messaging.models import ToDo
from jobs.models import Booking, BookingDay, CrewDay, Offer
from reminders.models import Forecast, PacedDeck, Reminder, SavedView, Stop
from reminders.months import last_day_of_season
from reminders.steps import ReminderRequest, plan_reminders
from reminders.today import DeckTable, TableRequest, count_inbox, current_rule
from reminders.today.wear_words import wear_words
from tests.factories import (
    ClientFactory,
    CrewFactory,
    DeckFactory,
    JobFactory,
    MessageFactory,
    OfferFactory,
    OfferScopeFactory,
    PhoneFactory,
    PropertyFactory,
)
from tests.jobs.sent_offers import sent_offer
from tests.reminders.conftest import NOW, TODAY
from tests.reminders.sequence import remind as send_reminders

DECEMBER = date(2026, 12, 1)


@pytest.fixture
def page(as_owner):
    def get(address="/", client=as_owner):
        with freeze_time(NOW):
            answer = client.get(address)
        assert answer.status_code == 200
        return answer

    return get


@pytest.fixture
def words(page):
    """What the page says, spaces as one."""

    def read(address="/", **more):
        return " ".join(re.sub(r"<[^>]+>", " ", page(address, **more).content.decode()).split())

    return read


@pytest.fixture
def post(as_owner):
    def send(address, data):
        with freeze_time(NOW):
            answer = as_owner.post(address, data, follow=True)
        assert answer.status_code == 200
        return answer.content.decode()

    return send


def booking(*, decks=(), state="booked", on=DECEMBER):
    """A visit of one day."""
    place = decks[0].site if decks else PropertyFactory()
    row = Booking.objects.create(
        client=place.client,
        site=place,
        crew=CrewFactory(name="Heron crew"),
        state=state,
        first_on=on,
        last_on=on,
        hours=4,
    )
    row.decks.set(decks)
    return row


def names_on(page):
    """The clients of the rows, from the top."""
    return [line.client for line in page.context["lines"]]


def named(due, name, **more):
    deck = due(**more)
    type(deck.site.client).objects.filter(pk=deck.site.client_id).update(name=name)
    return deck


def statuses(business):
    table = DeckTable(TableRequest(tab="all"), current_rule(TODAY), business)
    return {line.deck_id: line.status for line in table.lines(slice(None))}


# Where a deck stands.


def every_case(due, business):
    """Decks in all the places where one can stand, by a name for each."""
    decks = {
        "open": due(),
        "not yet": due(due_on=date(2027, 1, 30)),
        "this month": due(due_on=date(2027, 1, 24)),
        "overdue": due(date(2022, 1, 1), date(2023, 1, 1), date(2024, 1, 1)),
        "no way": due(client=ClientFactory()),
        "waits": due(),
        "sent": due(),
        "second due": due(due_on=date(2026, 11, 28)),
        "bounced": due(),
        "cancelled": due(),
        "unknown": due(),
        "offered": due(),
        "offer ran out": due(),
        "accepted": due(),
        "booked": due(),
        "stopped": due(),
        "stop over": due(),
        "planned later": due(),
        "planned now": due(opens=date(2027, 3, 1), due_on=date(2027, 4, 1), late=date(2027, 5, 1)),
        "plan leaves out": due(),
        "plan is over": due(),
    }
    said = {
        "waits": "queued",
        "sent": "accepted",
        "second due": "delivered",
        "bounced": "bounced",
        "cancelled": "cancelled",
        "unknown": "unconfirmed",
    }
    for name, state in said.items():
        (message,) = send_reminders(deck_ids=[decks[name].pk]).queued
        type(message).objects.filter(pk=message.pk).update(
            state=state, accepted_at=NOW - timedelta(days=30), not_before=NOW - timedelta(days=30)
        )
    for name, state, until in (
        ("offered", "open", date(2026, 12, 24)),
        ("offer ran out", "open", date(2026, 11, 24)),
        ("accepted", "accepted", date(2026, 12, 24)),
    ):
        offer = OfferFactory(is_sent=True, site=decks[name].site, drafted_on=date(2026, 11, 1))
        Offer.objects.filter(pk=offer.pk).update(
            state=state, valid_until=until, accepted_week=DECEMBER, answered_at=NOW
        )
        OfferScopeFactory(offer=offer, deck=decks[name])
    booking(decks=[decks["booked"]])
    for name, last in (("stopped", None), ("stop over", TODAY - timedelta(days=1))):
        Stop.objects.create(deck=decks[name], job=decks[name].jobs.get(), why="by_hand", until=last)
    for name, week, until in (
        ("planned later", date(2026, 12, 7), date(2027, 1, 3)),
        ("planned now", date(2026, 11, 23), date(2027, 1, 3)),
        ("plan leaves out", None, date(2027, 1, 3)),
        ("plan is over", None, date(2026, 11, 22)),
    ):
        PacedDeck.objects.create(
            deck=decks[name], job=decks[name].jobs.get(), week=week, until=until
        )
    return decks


def test_every_deck_stands_under_the_tab_where_the_planning_would_put_it(due, business):
    decks = every_case(due, business)

    found = statuses(business)
    plan = plan_reminders(ReminderRequest(DECEMBER), business=business, now=NOW)

    assert {name: found[deck.pk] for name, deck in decks.items()} == {
        "open": "remind",
        "not yet": "quiet",
        "this month": "remind",
        "overdue": "remind",
        "no way": "remind",
        "waits": "reminded",
        "sent": "reminded",
        "second due": "remind",
        "bounced": "remind",
        "cancelled": "reminded",
        "unknown": "reminded",
        "offered": "offered",
        "offer ran out": "remind",
        "accepted": "booked",
        "booked": "booked",
        "stopped": "later",
        "stop over": "remind",
        "planned later": "quiet",
        "planned now": "remind",
        "plan leaves out": "quiet",
        "plan is over": "remind",
    }
    # The same decks as the planning: those that it writes to, and those that only a missing way or
    # the rule of how often keeps from it.
    writable = {word.coat.deck_id for each in plan.planned for word in each.due_steps}
    writable |= {each.deck_id for each in plan.left_out if each.kind in {"unreachable", "capped"}}
    assert {deck for deck, status in found.items() if status == "remind"} == writable


def test_the_tabs_count_what_they_hold_and_the_head_says_what_waits(due, business, page, words):
    every_case(due, business)

    answer = page()

    counts = {name: count for name, _, count, _ in answer.context["tab_links"]}
    for name, count in counts.items():
        assert len(page(f"/?tab={name}").context["lines"]) == count, name
    assert counts["all"] == 21
    assert counts["remind"] == 10
    text = words()
    assert "10 to remind" in text
    assert "1 offer open" in text
    # one accepted offer without a day, one bounced and one unconfirmed message
    assert "3 to do" in text


@pytest.mark.parametrize(
    ("opens", "due_on", "said"),
    [
        (date(2022, 1, 1), date(2023, 7, 20), "3 y 4 m overdue"),
        (date(2022, 1, 1), date(2025, 11, 25), "1 y overdue"),
        (date(2026, 1, 1), date(2026, 10, 24), "1 m overdue"),
        (date(2026, 1, 1), date(2026, 11, 12), "due since Nov 12"),
        (date(2026, 11, 2), date(2027, 3, 1), "window open since Nov 2"),
        (date(2026, 12, 1), date(2027, 5, 1), "due in May"),
        (date(2027, 12, 1), date(2028, 5, 1), "due in May 2028"),
        (date(2033, 6, 1), date(2037, 6, 1), "not before 2033"),
        (date(2027, 9, 1), date(2027, 11, 11), "due in November 2027"),  # not the one that runs
    ],
)
def test_the_state_of_a_coat_is_said_in_plain_words(business, opens, due_on, said):
    assert wear_words(opens, due_on, TODAY) == said


def test_what_a_recoat_still_saves_comes_before_what_most_likely_needs_a_strip(due, page, words):
    for name, strip_on in (
        ("Lost Long", date(2024, 1, 1)),
        ("Saved Soon", date(2026, 12, 20)),
        ("Lost Lately", date(2026, 11, 1)),
        ("Saved Later", date(2027, 8, 1)),
    ):
        deck = named(due, name)
        Forecast.objects.filter(deck=deck).update(strip_on=strip_on)

    assert names_on(page()) == ["Saved Soon", "Saved Later", "Lost Long", "Lost Lately"]
    assert words().count("most likely a strip") == 2


def test_the_day_from_which_only_a_strip_will_do_comes_from_the_forecast(coated):
    """The days on which the chance of `waiting_risk` reaches 20 and 80 %."""
    from reminders import forecast
    from reminders.forecasting import bridge, read_newest_coats

    deck = coated(on=date(2024, 6, 10))
    row = Forecast.objects.get(deck=deck)
    coats = read_newest_coats([deck.pk], today=TODAY)
    core = bridge.core_coats(coats, today=TODAY)

    for day, share in ((row.look_on, 0.2), (row.strip_on, 0.8)):
        (chance,), _ = forecast.strip_chances_after_waits(
            core, bridge.active_posterior(), bridge.epoch_days(day), [30.0]
        )
        assert chance == pytest.approx(share, abs=0.01)
    assert row.half_worn_on < row.look_on < row.strip_on


# The address.


def test_the_list_is_sorted_by_any_head_and_filtered_by_what_the_address_says(due, business, page):
    small = named(due, "Ansel Small", area_m2=9)
    large = named(due, "Zelda Large", area_m2=90)
    PropertyFactory._meta.model.objects.filter(pk=large.site_id).update(town="Digby")
    JobFactory(deck=large, kind="clean", finished_on=date(2026, 1, 1))
    MessageFactory(client=small.site.client, state="accepted", accepted_at=NOW)

    assert names_on(page("/?sort=client")) == ["Ansel Small", "Zelda Large"]
    for key in ("client", "town", "coat", "state", "size", "price", "contact", "worth"):
        up, down = (names_on(page(f"/?sort={sign}{key}")) for sign in ("", "-"))
        assert sorted(up) == sorted(down) == ["Ansel Small", "Zelda Large"], key
    assert names_on(page("/?sort=-size")) == ["Zelda Large", "Ansel Small"]
    assert names_on(page("/?sort=town")) == ["Zelda Large", "Ansel Small"]
    assert names_on(page("/?town=Digby")) == ["Zelda Large"]
    assert names_on(page("/?q=ansel")) == ["Ansel Small"]
    product = small.jobs.get().coats_applied.get().product_id
    assert names_on(page(f"/?product={product}")) == ["Ansel Small"]


def test_the_list_is_filtered_by_the_way_that_is_possible(due, page):
    named(due, "By Mail")
    named(due, "By Letter", client=ClientFactory())
    type_of_client = ClientFactory._meta.model
    assert type_of_client.objects.count() == 2

    assert names_on(page("/?way=email")) == ["By Mail"]
    letters = names_on(page("/?way=letter")) + names_on(page("/?way=none"))
    assert letters == ["By Letter"]


def test_the_list_is_filtered_by_the_crew_of_the_visit(due, page):
    deck = named(due, "Booked One")
    named(due, "Other")
    row = booking(decks=[deck])

    assert names_on(page(f"/?tab=booked&crew={row.crew_id}")) == ["Booked One"]
    assert names_on(page(f"/?crew={row.crew_id}")) == []


@pytest.mark.parametrize(
    "address",
    ["/?tab=x&sort=y&crew=z&product=-1&way=q&page=99&open=a", "/?sort=--&product=9" + "9" * 30],
)
def test_nonsense_in_an_address_is_left_out(due, page, address):
    deck = due()

    assert names_on(page(address)) == [deck.site.client.name]


def test_a_row_opens_to_window_curve_and_reasons_by_its_address(due, words, page):
    deck = due()

    closed, opened = words(), words(f"/?open={deck.pk}")

    assert "Late from" not in closed
    assert "Late from" in opened
    assert "Last finish" in opened
    assert f'id="d{deck.pk}"' in page().content.decode()


# Doing something with the chosen.


def test_choosing_all_chooses_the_decks_of_other_pages_too(due, page, monkeypatch):
    monkeypatch.setattr("reminders.today.ROWS_A_PAGE", 1)
    first, second = due(), due()

    text = page("/?chosen=all").content.decode()

    chosen = {int(pk) for pk in re.findall(r'name="deck" value="(\d+)"', text)}
    assert chosen == {first.pk, second.pk}


def test_chosen_decks_are_put_off_until_a_day_or_the_end_of_the_season_and_let_go_again(
    due, business, post
):
    deck = due()

    said = post(reverse("reminders:stop_chosen"), {"deck": deck.pk, "until": "weeks", "weeks": 4})
    assert "No reminder until Dec 23, 2026" in said.replace("no reminder", "No reminder")
    assert statuses(business)[deck.pk] == "later"

    post(reverse("reminders:stop_chosen"), {"deck": deck.pk, "until": "season"})
    assert Stop.objects.get().until == date(2027, 10, 31)

    post(reverse("reminders:stop_chosen"), {"deck": deck.pk, "until": "lift"})
    assert statuses(business)[deck.pk] == "remind"


@pytest.mark.parametrize(
    "data",
    [
        {},
        {"until": "weeks", "weeks": "0"},
        {"until": "weeks", "weeks": "999999"},
        {"until": "weeks", "weeks": "x"},
    ],
)
def test_a_time_that_is_none_puts_nothing_off(due, post, data):
    assert "Nothing was changed" in post("/due/stop/", {"deck": due().pk, **data})
    assert "Choose at least one deck" in post("/due/stop/", data)
    assert not Stop.objects.exists()


@pytest.mark.parametrize(
    ("day", "months", "last"),
    [
        (date(2026, 11, 25), [5, 6, 7, 8, 9, 10], date(2027, 10, 31)),
        (date(2026, 6, 1), [5, 6, 7, 8, 9, 10], date(2026, 10, 31)),
        (date(2026, 12, 1), [11, 12, 1, 2], date(2027, 2, 28)),
        (date(2026, 6, 1), list(range(1, 13)), date(2027, 5, 31)),
    ],
)
def test_a_season_ends_with_its_last_month(day, months, last):
    assert last_day_of_season(day, months) == last


def test_what_is_shown_is_what_prints_and_exports_with_phone_and_e_mail(due, page, as_owner):
    shown = named(due, "Ottilie Saltonby")
    PhoneFactory(client=shown.site.client, value="902-555-0142", normalized="+19025550142")
    other = named(
        due, "Somebody Else", opens=date(2027, 3, 1), due_on=date(2027, 4, 1), late=date(2027, 5, 1)
    )

    rows = list(csv.DictReader(io.StringIO(page("/?format=csv").content.decode("utf-8-sig"))))
    everybody = page("/?tab=all&format=csv").content.decode()
    paper = PdfReader(io.BytesIO(page("/?format=pdf").content)).pages[0].extract_text()
    with freeze_time(NOW):
        chosen = as_owner.post("/?tab=all", {"deck": other.pk, "format": "csv"}).content.decode()

    assert [(row["Client"], row["Phone"]) for row in rows] == [
        ("Ottilie Saltonby", "(902) 555-0142")
    ]
    assert rows[0]["E-mail"] == shown.site.client.contact_points.get(kind="email").value
    assert rows[0]["State"] == "window open since Nov 1"
    assert "Somebody Else" in everybody
    for said in ("Ottilie Saltonby", "(902) 555-0142", rows[0]["E-mail"]):
        assert said in paper
    assert "Somebody Else" not in paper
    assert "Somebody Else" in chosen
    assert "Ottilie Saltonby" not in chosen


def test_a_list_is_kept_under_a_name_by_whoever_saved_it(due, post, page, as_user, office):
    due()
    post("/views/save/", {"query": "tab=all&town=Lunenburg&nonsense=1", "name": " Town  list "})
    post("/views/save/", {"query": "tab=booked", "name": "Town list"})
    assert "Give it a name" in post("/views/save/", {"query": "tab=all", "name": " "})

    view = SavedView.objects.get()
    assert (view.name, view.query) == ("Town list", "tab=booked")
    assert 'href="?tab=booked">Town list' in page().content.decode()
    assert "Town list" not in page(client=as_user(office)).content.decode()
    assert as_user(office).post(f"/views/{view.pk}/remove/").status_code == 404
    post(f"/views/{view.pk}/remove/", {})
    assert not SavedView.objects.exists()


# The inbox.


def to_do(**fields):
    fields = {
        "kind": "address",
        "key": "number/1",
        "words": "902-555-0142 is a wrong number.",
    } | fields
    return ToDo.objects.create(**fields)


def test_everything_that_waits_stands_in_one_inbox_with_one_count_on_every_page(
    business, page, words
):
    to_do(client=ClientFactory())
    to_do(key="answer/1", kind="answer", words="Please call me.", client=ClientFactory())
    for state in ("failed", "bounced", "unconfirmed", "queued"):
        MessageFactory(state=state)
    for state, day in (
        ("held", DECEMBER),
        ("booked", TODAY - timedelta(days=1)),
        ("booked", TODAY),
    ):
        booking(state=state, on=day)
    OfferFactory(state="accepted", sent_at=NOW, answered_at=NOW, accepted_week=DECEMBER)

    text = words()

    assert "8 to do" in text
    assert count_inbox(today=TODAY) == 8
    for label in ("Answer", "Address", "Needs a day", "Weather hold", "Not logged"):
        assert label in text
    for address in ("/", "/diary/", "/settings/", "/figures/"):
        assert ", waiting: 8" in words(address).replace(", waiting:  ", ", waiting: ")


def test_a_long_inbox_shows_its_first_twenty_and_all_of_it_when_asked(business, page):
    for number in range(23):
        to_do(
            key=f"answer/{number}", kind="answer", words=f"Call {number}.", client=ClientFactory()
        )

    at_first = page().content.decode()
    asked = page("/?inbox=open").content.decode()

    assert at_first.count("/settled/") == 20
    assert asked.count("/settled/") == 23
    assert '<a href="/?inbox=open#inbox">All 23</a>' in at_first
    assert ">All 23</a>" not in asked


def test_the_count_of_the_navigation_is_one_query(business, django_assert_num_queries):
    with django_assert_num_queries(1):
        count_inbox(today=TODAY)


def test_a_matter_goes_when_it_is_done_and_the_page_comes_back(page, post, owner):
    row = to_do(client=ClientFactory())

    post(f"/outbox/to-do/{row.pk}/settled/", {"back": "/?inbox=open"})
    row.refresh_from_db()

    assert row.done_by == owner
    assert "902-555-0142" not in page("/?inbox=open").content.decode()


def test_doing_it_twice_keeps_the_first_name_and_never_leads_off_the_site(
    as_owner, as_user, office, owner
):
    row = to_do()
    as_owner.post(f"/outbox/to-do/{row.pk}/settled/")
    answer = as_user(office).post(
        f"/outbox/to-do/{row.pk}/settled/", {"back": "https://example.org/"}
    )

    row.refresh_from_db()
    assert row.done_by == owner
    assert answer["Location"] == "/"


def test_a_question_is_closed_by_an_answer_and_by_nothing_else(business, page, as_owner):
    offer, _ = sent_offer()
    to_do(
        kind="question",
        key=f"offer/{offer.pk}/asked/1",
        words="Can you come in the afternoon?",
        client=offer.client,
    )

    text = page("/?inbox=open").content.decode()
    assert "Can you come in the afternoon?" in text
    assert "/settled/" not in text
    with freeze_time(NOW):
        answer = as_owner.post(
            f"/offers/{offer.pk}/answer/",
            {"answer": "Yes, from two.", "back": "/?inbox=open#inbox"},
        )

    assert answer["Location"] == "/?inbox=open#inbox"
    assert ToDo.objects.get().done_at
    assert "Can you come" not in page("/?inbox=open").content.decode()


def test_where_the_inbox_stood_before_leads_here(as_owner):
    assert as_owner.get("/outbox/to-do/")["Location"] == "/?inbox=open"


# A book with little in it, and other people.


def test_a_book_with_little_in_it_says_what_is_to_be_entered_with_its_state(page, words):
    text = words()

    assert "Your clients and decks nobody yet To do" in text
    for address in ("/jobs/products/", "/settings/prices/", "/diary/crews/", "/settings/lists/"):
        assert f'href="{address}"' in page().content.decode()

    DeckFactory()
    CrewFactory()
    text = words()
    assert "Your clients and decks 1 deck entered Done" in text
    assert "Crews 1 crew Done" in text
    assert "First reminder" in text


def test_the_steps_stand_no_more_when_the_book_is_full(coated, page, monkeypatch):
    monkeypatch.setattr("reminders.today.FULL_BOOK_DECKS", 1)
    coated()

    assert "Set up" not in page().content.decode()


def test_the_page_asks_the_same_number_of_questions_for_many_decks(
    due, as_owner, business, django_assert_max_num_queries
):
    for _ in range(9):
        MessageFactory(client=due().site.client, state="failed")
    every_case(due, business)

    with freeze_time(NOW), django_assert_max_num_queries(46):
        as_owner.get("/?tab=all")


def test_the_crew_sees_the_visits_of_today_and_tomorrow_and_nothing_of_the_office(
    page, crew, as_user, business, due
):
    due()
    MessageFactory(state="failed", subject="Your deck is due for care by June")
    deck = DeckFactory(site__street="7 Cormorant Lane")
    for day in (NOW.date(), NOW.date() + timedelta(days=2)):
        row = booking(decks=[deck], on=day)
        free = CrewDay.objects.create(crew=row.crew, day=day, hours_open=8, hours_booked=4)
        BookingDay.objects.create(booking=row, crew_day=free, hours=4)

    text = page(client=as_user(crew)).content.decode()

    assert text.count("<bdi>7 Cormorant Lane</bdi>") == 1
    assert "Today" in text
    assert "Your deck is due" not in text
    assert "to remind" not in text


def test_reminders_of_the_table_go_through_the_preview_of_this_month(due, post):
    deck = due()

    said = post("/due/remind/", {"month": "2026-11", "deck": deck.pk, "back": "/"})

    assert "Send 1 reminder?" in said
    assert not Reminder.objects.exists()


def test_the_map_draws_every_deck_by_shape_and_says_the_same_in_a_table(due, page):
    named(due, "Late One", opens=date(2022, 1, 1), due_on=date(2023, 1, 1), late=date(2024, 1, 1))
    east = named(due, "Open One")
    places = PropertyFactory._meta.model.objects
    places.filter(pk=east.site_id).update(town="Digby", latitude=44.62, longitude=-65.76)
    booking(decks=[east], on=TODAY)

    answer = page("/?tab=all&map=1")
    shown = answer.context["map"]
    text = answer.content.decode()

    assert shown.towns == [("Digby", 1, [0, 1, 0, 0]), ("Lunenburg", 1, [0, 0, 0, 1])]
    by_name = {point.words.partition(",")[0]: point for point in shown.picture.points}
    # Digby lies west and north of Lunenburg.
    assert by_name["Open One"].x < by_name["Late One"].x
    assert by_name["Open One"].y < by_name["Late One"].y
    assert text.count('<path class="is-late"') == 1
    assert text.count('<path class="is-open"') == 1
    assert "Late One, Lunenburg: 3 y 10 m overdue" in text


def test_the_page_of_a_client_has_one_history_with_parts_of_it(due, page):
    deck = named(due, "Ottilie Saltonby")
    client = deck.site.client
    MessageFactory(client=client, subject="Your deck is due")
    OfferFactory(number=901, is_sent=True, site=deck.site)
    booking(decks=[deck])

    whole = page(f"/clients/{client.pk}/").content.decode()
    offers = page(f"/clients/{client.pk}/?show=offers").content.decode()

    for said in ("Strip and seal", "Your deck is due", "Offer 901", "Visit of Heron crew"):
        assert said in whole
    assert "Next visit Tue, Dec 1" in whole
    assert f'href="mailto:{client.contact_points.get().value}"' in whole
    assert "Offer 901" in offers
    assert "Your deck is due" not in offers
    assert page(f"/clients/{client.pk}/?show=nonsense").status_code == 200


def test_the_list_of_clients_says_who_is_archived(due, page):
    named(due, "Ottilie Saltonby")
    ClientFactory(name="Gone Away", archived_at=NOW)

    assert "Gone Away" not in page("/clients/").content.decode()
    archived = page("/clients/?kept=archived").content.decode()
    assert "Gone Away" in archived
    assert "Ottilie" not in archived
    assert '<span class="chip">Archived</span>' in archived
