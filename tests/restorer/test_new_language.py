"""The recipe for a language in DEVELOPERS.md holds: with its texts and words in standard.toml a
client hears no English; each that is missing is named."""

import copy
import re
from collections.abc import Callable, Iterator
from datetime import date
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.test import Client as Browser

from clients.messaging import texts
from clients.messaging.law import contents, rule_for
from clients.messaging.models import Message, MessageText, TextGateway
from clients.messaging.texts import standard
from clients.messaging.unsendable import Unsendable
from clients.models import Business, Deck
from clients.models.channel import Channel
from reminders.models import Forecast
from restorer import catalogue
from tests.clients.test_stop_words import gateway, row, says
from tests.factories import ConsentFactory, EmailFactory, PhoneFactory
from tests.reminders.conftest import coated, due, remind

__all__ = ["coated", "due", "gateway", "row"]
LANGUAGE = "eo"
FIELD_IN_BRACES = re.compile(r"(\{\w+\})")
STOP_LINE = "Skribu FIN por fini."
ADVERTISEMENT = "Reklamo."


def translated(words: Any) -> Any:
    """Capitals pass for a language of its own; fields stay as they are."""
    if isinstance(words, str):
        parts = FIELD_IN_BRACES.split(words)
        return "".join(part if FIELD_IN_BRACES.fullmatch(part) else part.upper() for part in parts)
    if isinstance(words, list):
        return [translated(each) for each in words]
    return {name: translated(each) for name, each in words.items()}


def with_language() -> dict[str, Any]:
    """What standard.toml holds, and everything of its English once more in the new language."""
    found = copy.deepcopy(standard.standard_texts())
    found["words"][LANGUAGE] = translated(found["words"]["en"])
    found["words"][LANGUAGE] |= {"stop_line": STOP_LINE, "advertisement": ADVERTISEMENT}
    for purpose in MessageText.Purpose.values:
        for channel in Channel.values:
            by_language = found[purpose][channel]
            by_language[LANGUAGE] = translated(by_language["en"])
    return found


@pytest.fixture
def content(monkeypatch: pytest.MonkeyPatch) -> Iterator[dict[str, Any]]:
    found = with_language()
    standard.standard_wording.cache_clear()
    monkeypatch.setattr(standard, "standard_texts", lambda: found)
    yield found
    standard.standard_wording.cache_clear()


def leaves(table: dict[str, Any], *path: str) -> Iterator[tuple[str, ...]]:
    for name, value in table.items():
        if isinstance(value, dict):
            yield from leaves(value, *path, name)
        else:
            yield *path, name


def test_no_text_is_missing_in_any_language() -> None:
    assert standard.missing_texts() == []


def test_each_missing_text_is_named(content: dict[str, Any]) -> None:
    assert standard.missing_texts() == []
    words = [("words", *path) for path in leaves({LANGUAGE: content["words"][LANGUAGE]})]
    occasions = [
        (purpose, channel, LANGUAGE)
        for purpose in MessageText.Purpose.values
        for channel in Channel.values
    ]
    subjects = [(*path, "subject") for path in occasions if path[1] == "email"]

    for path in [*words, *occasions, *subjects]:
        *above, last = path
        table = content
        for name in above:
            table = table[name]
        kept = table.pop(last)
        standard.standard_wording.cache_clear()
        named = ".".join(path).removesuffix(".subject")
        assert named in standard.missing_texts()
        table[last] = kept


def test_the_command_names_them(content: dict[str, Any], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(catalogue, "translated_languages", list)
    del content["held"]["letter"][LANGUAGE]
    del content["words"][LANGUAGE]["replies"]["help"]

    with pytest.raises(CommandError, match=r"held\.letter\.eo, words\.eo\.replies\.help"):
        call_command("words")


def english_phrases(content: dict[str, Any]) -> Iterator[str]:
    english = content["words"]["en"]
    for group in ("deck", "factors", "replies"):
        for value in english[group].values():
            yield from [value] if isinstance(value, str) else value
    yield from (english[name] for name in leaves_of_one(english))


def leaves_of_one(table: dict[str, Any]) -> Iterator[str]:
    return (name for name, value in table.items() if isinstance(value, str) and name != "name")


@pytest.mark.parametrize("channel", ["email", "text", "letter"])
def test_a_reminder_has_no_english_in_it(
    content: dict[str, Any], due: Callable[..., Deck], row: TextGateway, channel: str
) -> None:
    client = PhoneFactory(client__language=LANGUAGE).client
    EmailFactory(client=client)
    ConsentFactory(client=client, channel=channel)
    client.preferred_channel = channel
    client.save()
    deck = due(client=client)
    Forecast.objects.filter(deck=deck).update(contributions={"sun": -4.0, "salt": -2.0})

    (message,) = remind(deck).queued

    assert (message.channel, message.language) == (channel, LANGUAGE)
    assert not [each for each in english_phrases(content) if each in message.text]
    if channel == "text":
        assert STOP_LINE in message.text
    else:
        assert "LAST COAT:" in message.text
        assert "MORE SUN THAN MOST PLACES, SALT FROM THE SEA" in message.text


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("said", "answered"), [("Stop", "YOU WILL GET NO MORE"), ("Help", "LOOKS AFTER YOUR DECK")]
)
def test_a_word_sent_back_is_answered_in_it(
    content: dict[str, Any], gateway: Browser, row: TextGateway, said: str, answered: str
) -> None:
    point = PhoneFactory(value="902-555-0101", client__language=f"{LANGUAGE}-CA")
    ConsentFactory(client=point.client, channel="text")

    says(gateway, said)

    assert answered in Message.objects.get(kind="service").text


@pytest.mark.django_db
def test_its_own_words_keep_the_law(content: dict[str, Any], business: Business) -> None:
    """How to hear no more, and that it is an advertisement, in words of that language alone."""
    Business.objects.update(country="US")
    business.refresh_from_db()
    for channel, needed in (("email", ADVERTISEMENT), ("text", STOP_LINE)):
        written = texts.compose_text(
            purpose="first",
            channel=channel,
            language=LANGUAGE,
            basis="customer",
            fields={"greeting": "Ottilie", "decks": "Back deck", "due_by": "marto", "why": ""},
        )
        rule = rule_for(
            sender_country="US", recipient_country="US", channel=channel, on=date(2026, 11, 25)
        )
        contents.check_required_contents(
            rule, business=business, text=written.text, basis="customer"
        )
        with pytest.raises(Unsendable, match="By law"):
            contents.check_required_contents(
                rule, business=business, text=written.text.replace(needed, ""), basis="customer"
            )
