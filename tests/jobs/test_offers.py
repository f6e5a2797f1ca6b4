"""Offers: drafted from the history, changed while they are drafts, frozen when they go, and taken
back in time."""

from datetime import date, timedelta
from decimal import Decimal
from io import BytesIO
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from pypdf import PdfReader

from clients.actions import clients
from clients.messaging.message_keys import token_hash
from clients.messaging.models import Message
from clients.models import Business, User
from jobs.actions import offer_questions, offer_sending, offers
from jobs.actions.jobs import follow_job_changes
from jobs.actions.offer_answers import ask_question
from jobs.actions.offer_withdrawal import withdraw_offers_about_decks
from jobs.actions.offers import OfferError, OfferInput, OfferLineInput
from jobs.models import Offer, PriceList
from jobs.offers import build_offer_page
from jobs.offers.pricing import PricingError
from tests.factories import DeckFactory, JobFactory, OfferFactory
from tests.jobs.offer_book import NOW, TODAY, deck, drafted, price_list, reachable

D = Decimal
pytestmark = pytest.mark.django_db


@pytest.fixture
def prices(business: Business) -> PriceList:
    return price_list()


def change(offer: Offer, *lines: OfferLineInput, by: User | None = None, **words: Any) -> Offer:
    usual = {"introduction": "", "valid_until": offer.valid_until, "hours": offer.hours}
    seen = offer.events.order_by("-id").values_list("pk", flat=True)[0]
    return offers.change_offer(
        offer=offer, words=OfferInput(**{**usual, **words}), lines=lines, seen=seen, by=by, now=NOW
    )


def send(offer: Offer, channel: str = "email") -> Message:
    return offer_sending.send_offer(offer=offer, channel=channel, by=None, now=NOW)


def lines_of(offer: Offer) -> list[tuple[str, Decimal]]:
    return list(offer.lines.values_list("words", "amount"))


def test_a_draft_holds_scope_lines_taxes_and_the_price_of_waiting(prices: PriceList) -> None:
    offer = drafted()

    scope = offer.scopes.get()
    tax = offer.taxes.get()
    work = {line.words: line.amount for line in offer.lines.all() if line.kind == "work"}
    assert (offer.number, offer.revision, offer.state) == (101, 1, "draft")
    assert work["Clean"] == D("57.60")  # 18 m² × 3.20
    assert work["Set up and protect surrounds"] == D("60.00")
    assert scope.work == "recoat"
    assert scope.same_as_last
    assert any(line.kind == "material" and line.unit == "L" for line in offer.lines.all())
    assert offer.net == sum(line.amount for line in offer.lines.all()) == tax.base
    assert offer.total == offer.net + tax.amount
    assert offer.hours > 0
    assert offer.valid_until == TODAY + timedelta(days=30)
    six, twelve = offer.waiting["after"]
    recoat, strip = (D(offer.waiting["decks"][0][work]) for work in ("recoat", "strip"))
    assert recoat < D(six["expected_cost"]) < D(twelve["expected_cost"]) < strip
    assert abs(D(twelve["expected_cost"]) - (recoat * D("0.6") + strip * D("0.4"))) < D("0.01")
    # the page has one price of now, what is to pay; a wait adds to it what a strip would
    later = build_offer_page(offer, today=TODAY).waiting_costs[-1]
    assert abs(later.cost - (offer.total + D("0.4") * (strip - recoat))) < D("0.01")


def test_numbers_are_given_one_after_the_other_and_without_price_list_none(
    business: Business,
) -> None:
    with pytest.raises(PricingError, match="No price list is in force"):
        drafted()

    price_list()
    first = drafted()
    second = drafted()

    assert (first.number, second.number) == (101, 102)


def test_a_missing_price_is_named_and_nothing_is_written(prices: PriceList) -> None:
    prices.rates.filter(task="clean").delete()

    with pytest.raises(PricingError, match="no price for “Clean”"):
        drafted()

    assert not Offer.objects.exists()


def test_a_product_without_a_pack_is_not_charged_and_the_draft_says_so(prices: PriceList) -> None:
    home = deck()
    product = home.jobs.get().coats_applied.get().product
    product.packs.all().delete()

    offer = drafted(home)

    assert not offer.lines.filter(kind="material", words=str(product)).exists()
    assert f"{product} has no pack with a price" in offer.events.get().note


def test_the_distance_is_estimated_and_said_to_be_unless_it_is_noted(prices: PriceList) -> None:
    PriceList.objects.update(travel_per_km=D("1.20"), travel_free_km=D(10))
    noted = reachable(deck(site__travel_km=D(25)))

    assert dict(lines_of(drafted(noted)))["Travel to Lunenburg"] == D("18.00")


def test_changed_lines_are_calculated_again(prices: PriceList, owner: User) -> None:
    offer = drafted()
    scope = offer.scopes.get().pk

    change(
        offer,
        OfferLineInput("work", "Clean", D(20), "m²", D("3.335"), scope),
        OfferLineInput("less", "For waiting so long", D(1), "", D(10)),
        by=owner,
        introduction="Thank you for asking.",
        hours=D("5.5"),
    )

    offer.refresh_from_db()
    assert lines_of(offer) == [
        ("Clean", D("66.80")),
        ("For waiting so long", D("-10.00")),
    ]  # 20 × 3.34
    assert (offer.net, offer.tax, offer.total) == (D("56.80"), D("8.52"), D("65.32"))
    assert (offer.introduction, offer.hours) == ("Thank you for asking.", D("5.50"))
    assert offer.lines.first().scope_id == scope


@pytest.mark.parametrize(
    ("lines", "words", "why"),
    [
        ([], {}, "at least one line"),
        ([OfferLineInput("less", "Gift", D(1), "", D(5))], {}, "discounts are larger"),
        (
            [OfferLineInput("work", "Clean", D(1), "", D(5))],
            {"valid_until": date(2026, 11, 1)},
            "Choose a later one",
        ),
    ],
)
def test_a_draft_that_cannot_be_is_refused_and_stays(
    prices: PriceList, lines: list[OfferLineInput], words: dict[str, Any], why: str
) -> None:
    offer = drafted()
    before = lines_of(offer)

    with pytest.raises(OfferError, match=why):
        change(offer, *lines, **words)

    assert lines_of(offer) == before


def test_two_people_do_not_overwrite_each_other(prices: PriceList) -> None:
    offer = drafted()
    seen = offer.events.get().pk
    words = OfferInput("", offer.valid_until, D(4))
    line = OfferLineInput("work", "Clean", D(1), "", D(5))
    offers.change_offer(offer=offer, words=words, lines=[line], seen=seen, by=None, now=NOW)

    with pytest.raises(OfferError, match="Somebody else changed"):
        offers.change_offer(offer=offer, words=words, lines=[line], seen=seen, by=None, now=NOW)


def test_a_sent_offer_has_its_link_its_paper_and_stays_as_it_was(prices: PriceList) -> None:
    offer = drafted()

    message = send(offer)

    offer.refresh_from_db()
    assert (offer.state, offer.sent_at) == ("open", NOW)
    link = next(word for word in message.text.split() if "/o/" in word)
    assert offer.token_hash == token_hash(link.rstrip("/").rsplit("/", 1)[1])
    assert message.idempotency_key == "offer/101-1/email"
    assert f"{offer.total:,.2f}" in message.text
    paper = message.attachments.get()
    text = " ".join(page.extract_text() for page in PdfReader(BytesIO(bytes(paper.content))).pages)
    assert paper.name == "offer-101.pdf"
    assert f"{offer.total:,.2f}" in text
    with pytest.raises(OfferError, match="sent, no answer yet"):
        change(offer, OfferLineInput("work", "Clean", D(1), "", D(5)))
    with pytest.raises(OfferError, match="sent, no answer yet"):
        send(offer)
    assert Message.objects.count() == 1


def test_new_prices_change_no_offer_that_is_there(prices: PriceList) -> None:
    offer = drafted()
    before = lines_of(offer), offer.total
    newer = price_list(TODAY)
    newer.rates.update(amount=D(99))

    offer.refresh_from_db()
    assert (lines_of(offer), offer.total) == before
    assert drafted().price_list == newer


def test_without_consent_or_in_the_past_nothing_is_sent(prices: PriceList) -> None:
    mute = drafted(deck())
    late = drafted()
    Offer.objects.filter(pk=late.pk).update(
        drafted_on=date(2026, 9, 1), valid_until=date(2026, 10, 1)
    )

    with pytest.raises(OfferError, match="cannot go by e-mail"):
        send(mute)
    with pytest.raises(OfferError, match="Choose a later one"):
        send(late)
    assert set(Offer.objects.values_list("state", "token_hash")) == {("draft", None)}


def test_a_revision_takes_the_place_of_what_was_sent(prices: PriceList) -> None:
    offer = drafted()
    message = send(offer)

    new = offers.revise_offer(offer=offer, today=TODAY, now=NOW, by=None)

    offer.refresh_from_db()
    message.refresh_from_db()
    assert (new.reference, new.state, offer.state, message.state) == (
        "101-2",
        "draft",
        "replaced",
        "cancelled",
    )
    assert lines_of(new) == lines_of(offer)
    assert new.lines.exclude(scope=None).first().scope.offer == new
    assert send(new).idempotency_key == "offer/101-2/email"
    with pytest.raises(OfferError):
        offers.revise_offer(offer=offer, today=TODAY, now=NOW, by=None)


def test_the_database_keeps_two_living_revisions_and_false_sums_out(prices: PriceList) -> None:
    offer = OfferFactory(is_sent=True)

    with pytest.raises(IntegrityError, match="one_living_revision"), transaction.atomic():
        OfferFactory(number=offer.number, revision=2, site=offer.site)
    with pytest.raises(IntegrityError, match="offer_adds_up"), transaction.atomic():
        Offer.objects.filter(pk=offer.pk).update(total=D("1"))


@pytest.mark.parametrize("leaving", ["booked", "unsubscribed", "archived", "done", "by hand"])
def test_an_unanswered_offer_is_withdrawn_when_there_is_no_more_use_for_it(
    prices: PriceList, owner: User, leaving: str
) -> None:
    home = reachable(deck())
    offer = drafted(home)
    other = drafted()
    message = send(offer)
    client = home.site.client

    if leaving == "booked":
        withdraw_offers_about_decks(
            deck_ids=[home.pk], history_note="Booked by telephone.", now=NOW
        )
    elif leaving == "unsubscribed":
        clients.record_consent(
            client=client,
            entry=clients.ConsentInput(
                channel="email", is_given=False, basis="", wording="Said so", evidence=""
            ),
            by=owner,
            now=NOW,
        )
    elif leaving == "archived":
        clients.archive_client(client=client, by=owner, now=NOW)
    elif leaving == "done":
        JobFactory(deck=home, kind="recoat", finished_on=TODAY + timedelta(days=3))
        follow_job_changes(deck_ids=[home.pk], now=NOW)
    else:
        offers.withdraw_offer(offer=offer, why="We have no time this year.", by=owner, now=NOW)

    offer.refresh_from_db()
    message.refresh_from_db()
    other.refresh_from_db()
    assert (offer.state, message.state, other.state) == ("withdrawn", "cancelled", "draft")
    assert offer.withdrawn_why


def test_leaving_by_the_link_in_the_message_withdraws_it_too(
    prices: PriceList, client: Any
) -> None:
    offer = drafted()
    message = send(offer)
    link = next(word for word in message.text.split() if "/u/" in word)

    client.post(link[link.index("/u/") :])

    offer.refresh_from_db()
    assert offer.state == "withdrawn"


def test_an_old_job_corrected_later_withdraws_nothing(prices: PriceList) -> None:
    home = reachable(deck())
    offer = drafted(home)

    follow_job_changes(deck_ids=[home.pk], now=NOW)

    offer.refresh_from_db()
    assert offer.state == "draft"


def test_a_question_is_answered_once_by_e_mail_and_on_the_page(
    prices: PriceList, owner: User
) -> None:
    offer = drafted()
    send(offer)
    offer.refresh_from_db()
    ask_question(token_hash=offer.token_hash, words="Do you move the planters?", now=NOW)
    assert offer.client.to_dos.filter(done_at=None).count() == 1

    for _ in range(2):  # a second click
        offer_questions.answer_question(offer=offer, words="Yes, we do.", by=owner, now=NOW)

    mail = Message.objects.get(kind="service")
    assert "Yes, we do." in mail.text
    assert offer.events.filter(kind="answered").count() == 1
    assert not offer.client.to_dos.filter(done_at=None).exists()


def test_a_draft_about_a_deck_without_a_past_is_possible(prices: PriceList) -> None:
    deck()  # a finish is in use

    offer = drafted(DeckFactory(), outlook=None)

    scope = offer.scopes.get()
    assert (scope.work, scope.looks_first) == ("recoat", True)
    assert scope.recoat_total < scope.strip_total
    assert offer.waiting == {}
