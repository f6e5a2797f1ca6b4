"""The pages of texts and law: what is shown, kept, refused and dropped."""

from datetime import date
from typing import Any

import pytest
from auditlog.models import LogEntry
from django.test import Client as Browser
from django.urls import reverse

from clients.messaging.law import LegalRules, rule_for
from clients.messaging.models import LawRule, MessageText
from clients.messaging.texts import compose_text
from clients.models import Business
from tests.factories import ClientFactory, DeckFactory, MessageFactory, PropertyFactory

pytestmark = pytest.mark.usefixtures("business")
FIRST = ("first", "email", "en")
SMS = ("first", "text", "en")


def page(answer: Any) -> str:
    return str(answer.content.decode())


def test_every_text_is_listed_in_the_language_asked_for(as_owner: Browser) -> None:
    MessageText.objects.create(purpose="offer", channel="call", language="gd", body="{decks}")

    english = page(as_owner.get("/settings/texts/"))
    gaelic = page(as_owner.get("/settings/texts/?language=gd"))

    assert english.count('<a href="/settings/texts/') == 56
    assert "your own" not in english
    assert "Scottish Gaelic" in english
    assert "your own" in gaelic
    assert gaelic.count(">in English<") == 55
    assert "no code of a language" in page(as_owner.get("/settings/texts/?language=xx-Bay"))


def test_a_text_is_kept_used_and_dropped_again(as_owner: Browser) -> None:
    path = reverse("speech:text", args=SMS)
    reset = reverse("speech:text_reset", args=SMS)
    kept = as_owner.post(path, {"save": "yes", "body": "{business}: {decks}!\r\n{stop_line}\r\n"})
    given = {"greeting": "Ottilie", "decks": "Back deck", "due_by": "May"}

    assert kept.status_code == 302
    assert (
        compose_text(purpose="first", channel="text", language="en", fields=given).text
        == "Driftline Deck Care: Back deck!\nReply STOP to end."
    )
    assert MessageText.objects.get().changed_by is not None
    assert LogEntry.objects.get_for_model(MessageText).count() == 1
    as_owner.post(reset)
    as_owner.post(reset)
    assert not MessageText.objects.exists()


@pytest.mark.parametrize(
    ("values", "word"),
    [
        ({"subject": "", "body": "{unsubscribe_url}"}, "An e-mail needs a subject."),
        (
            {"subject": "Hi {nobody}", "body": "{unsubscribe_url}"},
            "{nobody}, which is no field here",
        ),
        ({"subject": "Hi", "body": "{total} {unsubscribe_url}"}, "{total}, which is no field here"),
        ({"subject": "Hi", "body": "{greeting"}, "single {"),
        ({"subject": "Hi", "body": "Hello"}, "must hold {unsubscribe_url}"),
        ({"subject": "Hi", "body": "x" * 20_001}, "20000 characters"),
    ],
)
def test_a_text_that_cannot_work_is_not_kept_and_stays_on_the_page(
    as_owner: Browser, values: dict[str, str], word: str
) -> None:
    answer = as_owner.post(reverse("speech:text", args=FIRST), {"save": "yes", **values})

    assert answer.status_code == 200
    assert word in page(answer)
    assert values["body"] in page(answer)
    assert not MessageText.objects.exists()


def test_the_preview_shows_what_a_real_client_would_get_and_keeps_nothing(
    as_owner: Browser,
) -> None:
    place = PropertyFactory(client=ClientFactory(name="Ottilie <Saltonby>"), street="7 Plover Row")
    DeckFactory(site=place, label="Landing")
    ClientFactory(name="Newest Client")

    answer = as_owner.post(
        reverse("speech:text", args=SMS),
        {"preview": "yes", "client": "ottilie", "body": "Tāmaki {greeting}: {decks} {stop_line}"},
    )

    shown = page(answer)
    assert "Tāmaki Ottilie &lt;Saltonby&gt;: Landing, 7 Plover Row Reply STOP to end." in shown
    assert "1 part<" in shown
    assert "outside the plain alphabet" in shown
    assert "<kbd>ā</kbd>" in shown
    assert "has to hold the name of the business" in shown  # what the law there would miss
    assert not MessageText.objects.exists()


def test_a_name_nobody_has_is_said(as_owner: Browser) -> None:
    answer = as_owner.post(
        reverse("speech:text", args=SMS), {"preview": "yes", "client": "Nobody", "body": "{decks}"}
    )
    assert "There is no client of that name" in page(answer)


def test_the_preview_says_why_a_text_cannot_be_written(as_owner: Browser) -> None:
    answer = as_owner.post(
        reverse("speech:text", args=SMS), {"preview": "yes", "body": "{greeting"}
    )
    assert "single {" in page(answer)


def test_the_look_of_a_mail_may_be_framed_by_us_only_and_runs_nothing(as_owner: Browser) -> None:
    path = reverse("speech:text_look", args=("offer", "email", "fr"))

    kept = as_owner.get(path)
    typed = as_owner.post(path, {"subject": "x", "body": "<b>{offer_number}</b> {unsubscribe_url}"})

    assert "Voir la soumission" in page(kept)
    assert "&lt;b&gt;104&lt;/b&gt;" in page(typed)
    policy = dict(
        part.strip().partition(" ")[::2] for part in kept["Content-Security-Policy"].split(";")
    )
    assert (policy["default-src"], policy["frame-ancestors"], policy["sandbox"]) == (
        "'none'",
        "'self'",
        "",
    )
    assert (
        "frame-src 'self'"
        in as_owner.get(reverse("speech:text", args=FIRST))["Content-Security-Policy"]
    )


@pytest.mark.parametrize(
    "path",
    [
        "texts/gone/email/en/",
        "texts/first/pigeon/en/",
        "texts/first/email/xx-Bay/",
        "texts/first/text/en/as-html/",
        "law/QQ/email/",
        "law/CA/x/",
    ],
)
def test_what_is_no_text_and_no_rule_is_not_found(as_owner: Browser, path: str) -> None:
    assert as_owner.get(f"/settings/{path}").status_code == 404


def test_the_law_page_defers_to_local_law_and_shows_what_was_applied(as_owner: Browser) -> None:
    PropertyFactory(country="NZ")
    MessageFactory(law="CA email of 2014-07-01")

    shown = page(as_owner.get("/settings/law/"))

    for words in (
        "not legal advice",
        "Local law decides",
        "New Zealand",
        "CA email of 2014-07-01",
        "Existing customer (implied), 24 months from the last job",
        "crtc.gc.ca",
        "from memory: ask before you rely",
        "No address known",
    ):
        assert words in shown


RULE = {
    "valid_from": "2026-01-01",
    "bases": ["express"],
    "must_include": ["name"],
    "source": "our adviser",
    "checked_on": "2026-01-01",
    "mon_fri_from": "10:00",
    "mon_fri_to": "18:00",
}


def test_the_owner_enters_a_rule_and_drops_it(as_owner: Browser) -> None:
    path = reverse("speech:law_rule", args=("CA", "text"))
    assert as_owner.post(path, RULE).status_code == 302
    assert as_owner.post(path, RULE | {"source": "the adviser, again"}).status_code == 302

    row = LawRule.objects.get()
    found = rule_for(
        sender_country="CA", recipient_country="CA", channel="text", on=date(2026, 1, 1)
    )
    assert (row.source, found.bases, found.must_include) == (
        "the adviser, again",
        {"express"},
        ("name",),
    )
    assert found.window_local == {
        "mon_fri": ["10:00", "18:00"],
        "sat": "none",
        "sun_and_public_holidays": "none",
    }
    assert "our own rule" in page(as_owner.get("/settings/law/"))
    as_owner.post(reverse("speech:law_drop", args=[row.pk]))
    assert not LawRule.objects.exists()


def test_a_rule_of_the_owner_keeps_what_its_form_does_not_ask(as_owner: Browser) -> None:
    """The days that a look into the register counts, and what somebody who is asked is told."""
    calls = reverse("speech:law_rule", args=("GB", "call"))
    assert as_owner.post(calls, RULE | {"bases": ["express", "register"]}).status_code == 302
    mail = reverse("speech:law_rule", args=("CA", "email"))
    assert as_owner.post(mail, RULE).status_code == 302

    rules = LegalRules.load()
    british, canadian = (
        rules.rule_of(country, channel, date(2026, 12, 1))
        for country, channel in (("GB", "call"), ("CA", "email"))
    )
    assert british.is_own
    assert british.consent_expires("register", None, date(2026, 11, 25)) == date(2026, 12, 23)
    assert canadian.is_own
    assert canadian.asking_must_include == ("name", "postal_address", "contact", "withdrawal")


def test_no_rule_takes_a_look_into_the_register_without_an_end(as_owner: Browser) -> None:
    path = reverse("speech:law_rule", args=("DE", "call"))
    answer = as_owner.post(path, RULE | {"bases": ["express", "register"]})
    assert "is not one of the available choices" in page(answer)
    assert not LawRule.objects.exists()

    kept = {"bases": ["register"], "must_include": ["name"]}  # as an older form could keep it
    day = date(2026, 1, 1)
    LawRule.objects.create(
        jurisdiction="DE", medium="call", valid_from=day, checked_on=day, source="x", rules=kept
    )
    rule = LegalRules.load().rule_of("DE", "call", day)
    assert rule.consent_expires("register", None, day) == day


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"bases": []}, "Tick at least one"),
        ({"source": ""}, "fill this in"),
        ({"checked_on": "2999-01-01"}, "still to come"),
        ({"mon_fri_to": ""}, "Write both times"),
        ({"mon_fri_to": "09:00"}, "not after the time it begins"),
        ({"customer": "0"}, "greater than or equal to 1"),
    ],
)
def test_a_rule_that_says_nothing_sensible_is_refused(
    as_owner: Browser, changes: dict[str, Any], word: str
) -> None:
    answer = as_owner.post(reverse("speech:law_rule", args=("CA", "text")), RULE | changes)
    assert word in page(answer)
    assert not LawRule.objects.exists()


def test_the_pages_work_before_the_first_client(as_owner: Browser) -> None:
    Business.objects.update(street="", phone="")
    for path in ("texts/first/email/en/", "texts/care/text/fr/", "law/", "law/DEFAULT/call/"):
        assert as_owner.get(f"/settings/{path}").status_code == 200


def test_a_client_is_given_a_language_and_a_favourite_way_on_their_page(as_owner: Browser) -> None:
    client = ClientFactory(name="Ottilie Saltonby")
    MessageText.objects.create(purpose="offer", channel="call", language="gd", body="{decks}")
    path = reverse("clients:edit", args=[client.pk])
    rows = {"reach-TOTAL_FORMS": "0", "reach-INITIAL_FORMS": "0"}

    assert "Scottish Gaelic" in page(as_owner.get(path))
    as_owner.post(
        path, {"name": client.name, "language": "fr", "preferred_channel": "letter", **rows}
    )

    client.refresh_from_db()
    assert (client.language, client.preferred_channel) == ("fr", "letter")
    assert "not one of the available choices" in page(
        as_owner.post(path, {"name": "x", "language": "tlh", **rows})
    )
