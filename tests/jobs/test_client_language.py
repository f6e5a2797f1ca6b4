"""A client who reads French: the page of the offer, its answers, its papers, the sign-off.
Staff go on in English."""

from collections.abc import Callable
from datetime import date
from io import BytesIO
from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse
from freezegun import freeze_time
from pypdf import PdfReader

from clients.display import locale_for_language
from clients.messaging.models import Consent, Message, ToDo
from clients.models import Business, Client, User
from jobs.actions import offer_sending, offers
from jobs.models import Booking, Job, Offer, OfferEvent, Product, SignOff
from jobs.offers import OfferBrief
from jobs.pdf import care_record_pdf, offer_pdf
from jobs.scope import propose_scopes
from jobs.work.care_record import build_care_record
from reminders.actions import refresh_forecasts
from restorer import catalogue
from tests.factories import CoatFactory, CrewFactory, EmailFactory, PhotoFactory
from tests.jobs import offer_book
from tests.jobs.sent_offers import NOW, no, question, sent_offer, yes


@pytest.fixture(autouse=True)
def _clock() -> Any:
    with freeze_time(NOW, ignore=["psycopg", "concurrent"]):
        yield


@pytest.fixture
def link(business: Business) -> str:
    """The page of an offer to a client who reads French, with a photograph and a price of
    waiting."""
    CrewFactory(name="Tern crew", hours_a_day=8)
    after = [{"months": 6, "strip_chance": 0.2, "expected_cost": "700.00"}]
    offer, url = sent_offer(language="fr", waiting={"recoat": "520.00", "after": after})
    PhotoFactory(deck=offer.scopes.get().deck)
    return url


def plain(text: str) -> str:
    """On one line, with common spaces in place of those that do not break."""
    return " ".join(text.replace("&#x27;", "'").replace("’", "'").split())


def shown(answer: Any) -> str:
    return plain(answer.content.decode())


def english_in(text: str) -> list[str]:
    """Whole English sentences of ours that are left."""
    originals = [
        message.id
        for message in catalogue.read_catalogue("fr")
        if isinstance(message.id, str) and message.id
    ]
    sentences = [
        words
        for words in originals
        if len(words) > 12 and " " in words and not {"%", "{"} & set(words)
    ]
    return [words for words in sentences if plain(words) in text]


def read(pdf: bytes) -> PdfReader:
    return PdfReader(BytesIO(pdf), strict=True)


def words_of(reader: PdfReader) -> str:
    return plain(" ".join(page.extract_text() for page in reader.pages))


def french(deck: Any) -> Any:
    Client.objects.filter(pk=deck.site.client_id).update(language="fr")
    return offer_book.reachable(type(deck).objects.get(pk=deck.pk))


def test_the_page_of_an_offer_is_french_throughout(client: Browser, link: str) -> None:
    text = shown(client.get(link))

    assert '<html lang="fr">' in text
    for part in (
        "Oui, venez",
        "Quelle semaine vous convient?",
        "Non merci",
        "Le prix",
        "Avant taxes",
        "Total, taxes comprises",
        "nettoyage et nouvelle couche",
        "Nous nettoyons les planches et appliquons 2 couches de",
        "teinte Driftwood",
        "Maintenant ou plus tard",
        "Dans 6 mois",
        "Pendant les travaux",
        "facultatif",
        # Unicode CLDR, fr-CA: the sign after the amount, a comma, the day before the month.
        "572,77 $",
        "1 juin 2027",
        "17–23 mai 2027",
    ):
        assert part in text, part
    assert english_in(text) == []


@pytest.mark.parametrize("state", ["withdrawn", "replaced", "declined", "accepted", "expired"])
def test_the_page_is_french_in_every_state(client: Browser, link: str, state: str) -> None:
    if state == "expired":
        Offer.objects.update(valid_until=date(2027, 5, 9), drafted_on=date(2027, 4, 1))
    else:
        values = {"answered_by": "M. Pennington", "answered_at": NOW, "decline_reason": "price"}
        Offer.objects.update(state=state, accepted_week=date(2027, 5, 17), **values)

    assert english_in(shown(client.get(link))) == []


def test_a_mistake_is_said_in_french(client: Browser, link: str) -> None:
    text = shown(
        client.post(link, {"answer": "accept", "accept-name": "\x00", "accept-week": "2027-05-17"})
    )

    assert "Rien n'a encore été envoyé" in text
    assert (
        "Les octets null" in text or "Le caractère nul" in text
    )  # the framework's own words, in its own French
    assert "Choisissez une raison" in shown(client.post(link, {"answer": "decline"}))


def test_a_week_that_filled_up_is_said_in_french(
    client: Browser, link: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(**values: Any) -> None:
        from jobs.actions.bookings import NoRoomError

        raise NoRoomError("For staff.")

    monkeypatch.setitem(
        __import__("jobs.views.public_offer", fromlist=["ANSWER_ACTIONS"]).ANSWER_ACTIONS,
        "accept",
        full,
    )

    assert "La semaine du 17–23 mai 2027 n'a plus de place" in shown(client.post(link, yes()))


def test_what_the_client_answers_is_noted_in_english_for_the_office(
    client: Browser, link: str
) -> None:
    client.post(link, question("Déplacez-vous les pots ?"))
    client.post(link, yes())

    assert Booking.objects.count() == 1
    notes = " ".join(OfferEvent.objects.values_list("note", flat=True))
    assert "accepted offer" in notes
    assert "May 17, 2027" in notes
    assert "accepted" in " ".join(ToDo.objects.values_list("words", flat=True))
    page = shown(client.get(link))
    assert "Vous avez accepté cette soumission" in page
    assert "Pour changer, téléphonez au <a href=" in page


def test_a_refusal_is_noted_in_english_and_read_in_french(client: Browser, link: str) -> None:
    client.post(link, no("later"))

    assert "Not this year" in OfferEvent.objects.get(kind="declined").note
    assert "l'a refusée le 10 mai 2027 : pas cette année" in shown(client.get(link))


def test_a_draft_is_worded_in_the_language_of_its_client_and_the_steps_for_the_crew_in_english(
    business: Business, owner: User
) -> None:
    offer_book.price_list()
    offer = offer_book.drafted(french(offer_book.deck(stair_treads=4)))

    words = [line.words for line in offer.lines.all()]
    scope = offer.scopes.get()
    assert offer.language == "fr"
    assert "Finition, 1 couche" in words or "Finition, 2 couches" in words
    assert "Installation et protection des abords" in words
    assert "comme la dernière fois" in scope.why
    assert "Laisser sécher le bois" in [step["title"] for step in scope.client_steps]
    assert "Let the wood dry" in [step["title"] for step in scope.steps]


def test_staff_read_english_and_see_which_language_the_client_reads(
    link: str, owner: User, as_user: Callable[[User], Browser]
) -> None:
    page = shown(as_user(owner).get(reverse("offers:detail", args=[Offer.objects.get().pk])))

    assert '<html lang="en">' in page
    assert "The client reads French" in page
    assert "Before tax" in page
    assert "$572.77" in page


def test_another_language_counts_from_the_next_draft_on(business: Business, owner: User) -> None:
    offer_book.price_list()
    offer = offer_book.drafted(french(offer_book.deck()))
    Client.objects.update(language="")
    assert "Nettoyage" in [line.words for line in Offer.objects.get().lines.all()]
    offer = Offer.objects.get()  # as a page of another day reads it
    deck = offer.scopes.get().deck
    order = OfferBrief(offer.site, list(propose_scopes([deck], today=offer_book.TODAY).values()))

    again = offers.recalculate_draft(
        offer=offer, brief=order, today=offer_book.TODAY, now=offer_book.NOW, by=owner
    )

    assert again.language == "en-CA"
    assert "Clean" in [line.words for line in again.lines.all()]


def test_a_business_that_writes_french_drafts_in_french(business: Business) -> None:
    Business.objects.update(locale="fr-CA")
    offer_book.price_list()

    assert "Nettoyage" in [line.words for line in offer_book.drafted().lines.all()]


def test_an_offer_of_old_keeps_its_english_lines_in_a_french_page(
    client: Browser, link: str
) -> None:
    Offer.objects.get().lines.update(words="Stairs, sanded", unit="tread", quantity=4)
    scope = Offer.objects.get().scopes.get()
    scope.steps = [{"title": "Let the wood dry", "words": "Measure.", "wait": "24 hours in winter"}]
    scope.save()

    text = shown(client.get(link))

    for part in (
        "Stairs, sanded",
        "4 marches",
        "Let the wood dry",
        "water soaks in instead of beading",
    ):
        assert part in text


def test_the_message_with_an_offer_has_its_day_and_its_sum_in_french(
    business: Business, owner: User
) -> None:
    offer_book.price_list()
    offer = offer_book.drafted(french(offer_book.deck()))
    with freeze_time(offer_book.NOW, ignore=["psycopg", "concurrent"]):
        offer_sending.send_offer(offer=offer, channel="email", by=owner, now=offer_book.NOW)

    message = Message.objects.get()
    assert message.language == "fr"
    text = plain(message.text)
    assert "nettoyage et nouvelle couche" in text.lower()
    assert "25 déc. 2026" in text
    assert "$," not in text
    assert message.attachments.get().name == f"soumission-{offer.reference}.pdf"
    assert read(bytes(message.attachments.get().content)).root_object["/Lang"] == "fr"


def test_an_offer_that_its_time_overtook_says_why_in_french(client: Browser, link: str) -> None:
    from jobs.actions import offer_withdrawal

    deck = Offer.objects.get().scopes.get().deck_id
    offer_withdrawal.withdraw_offers_about_decks(
        deck_ids=[deck], history_note="Booked for May 17, 2027.", now=NOW
    )

    assert "Les travaux ont été inscrits à notre agenda." in shown(client.get(link))
    assert OfferEvent.objects.get(kind="withdrawn").note == "Booked for May 17, 2027."


@pytest.mark.slow
def test_the_offer_on_paper_is_french_and_says_so(link: str) -> None:
    reader = read(offer_pdf(Offer.objects.get(), url="https://decks.example.com/o/abc/"))
    text = words_of(reader)

    assert reader.root_object["/Lang"] == "fr"  # ISO 32000-1, 14.9.2
    for part in (
        "Soumission",
        "Valable jusqu'au",
        "Comment répondre",
        "572,77 $",
        "1 juin 2027",
        "Pendant les travaux",
    ):
        assert part in text, part
    assert english_in(text) == []


@pytest.mark.slow
def test_the_care_record_is_french_and_says_so(business: Business) -> None:
    coat = CoatFactory(job__kind="recoat", job__finished_on=date(2027, 5, 1))
    Product.objects.update(name="Varech", cautions_translated={"fr": "Aérez."})
    job = coat.job
    Client.objects.update(language="fr")
    refresh_forecasts(today=date(2027, 5, 2), now=NOW)
    job = Job.objects.get(pk=job.pk)
    reader = read(care_record_pdf(build_care_record(job)))
    text = words_of(reader)

    assert reader.root_object["/Lang"] == "fr"
    assert len(reader.pages) == 1
    for part in (
        "Fiche d'entretien",
        "Nettoyage et nouvelle couche",
        "Terminé le 1 mai 2027",
        "Pas d'eau de Javel",
        "mettez-les dans l'eau",
        "Prochaine couche conseillée",
        "Varech : Aérez.",
    ):
        assert part in text, part
    assert english_in(text) == []


@pytest.fixture
def sign_off(
    business: Business, crew: User, as_user: Callable[[User], Browser]
) -> tuple[Browser, str]:
    job = CoatFactory(job__finished_on=date(2027, 5, 1)).job
    EmailFactory(client=job.deck.site.client)
    Client.objects.update(language="fr")
    return as_user(crew), reverse("jobs:sign_off", args=[job.pk])


def test_the_words_that_were_read_are_the_words_that_are_kept(
    sign_off: tuple[Browser, str],
) -> None:
    on_site, form_url = sign_off
    page = shown(on_site.get(form_url))
    assert '<html lang="fr">' in page
    assert english_in(page) == []
    Client.objects.update(language="en")  # changed in the office while the client reads

    on_site.post(form_url, {"name": "Marlow Pennington", "may_email": "on", "language": "fr"})

    wording = plain(Consent.objects.get().wording)
    assert "peut m'envoyer par courriel" in wording
    assert wording in page
    assert plain(SignOff.objects.get().wording) in page
    assert "Ticked and signed as" in Consent.objects.get().evidence


def test_the_client_may_read_the_sign_off_in_the_other_language(
    sign_off: tuple[Browser, str],
) -> None:
    on_site, form_url = sign_off

    page = shown(on_site.get(f"{form_url}?language=en"))

    assert '<html lang="en">' in page
    assert "I have seen the finished work" in page
    assert 'name="language" value="en"' in page
    assert "Français" in page


@pytest.mark.parametrize(
    ("language", "own", "country", "locale"),
    [
        ("", "en-US", "CA", "en_US"),
        ("en", "en-US", "CA", "en_US"),
        ("fr", "en-CA", "CA", "fr_CA"),
        ("fr", "en-GB", "GB", "fr"),
        ("pt-BR", "en-CA", "CA", "pt_BR"),
        ("tlh", "en-CA", "CA", "en"),
    ],
)
def test_a_language_is_written_as_the_business_does_or_else_as_its_country_does(
    language: str, own: str, country: str, locale: str
) -> None:
    """Locales: Unicode CLDR, by Babel."""
    business = Business(locale=own, country=country)

    assert str(locale_for_language(language, business)) == locale
