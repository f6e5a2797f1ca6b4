"""Texts to clients: named fields, filled literally, in the client's language, or refused with a
reason."""

import re
from typing import Any

import pytest

from clients.messaging import sms_parts
from clients.messaging.models import MessageText
from clients.messaging.texts import (
    MESSAGE_FIELDS,
    TextProblem,
    Texts,
    check_wording,
    compose_text,
    fields_of,
)
from clients.messaging.texts.composing import fill_fields
from clients.messaging.texts.standard import language_words
from clients.models import Business
from clients.models.channel import Channel

pytestmark = pytest.mark.usefixtures("business")
GIVEN = {
    "greeting": "Ottilie Saltonby",
    "decks": MESSAGE_FIELDS["decks"].sample,
    "due_by": "March 2027",
}
OURS = {
    "business",
    "legal_name",
    "phone",
    "email",
    "website",
    "postal_address",
    "find_us",
    "because",
    "stop_line",
    "advertisement",
}
ALL = [
    (purpose, channel, language)
    for purpose in MessageText.Purpose
    for channel in Channel
    for language in "en fr".split()
]


def samples(purpose: str, channel: str) -> dict[str, str]:
    """Something for each field that a caller has to give."""
    names = set(fields_of(purpose, channel)) - OURS - {"unsubscribe_url"}
    return {name: MESSAGE_FIELDS[name].sample for name in names}


@pytest.mark.parametrize(("purpose", "channel", "language"), ALL)
def test_the_program_has_a_text_for_every_purpose_and_way(
    purpose: str, channel: str, language: str
) -> None:
    text = Texts.load()
    words = text.wording(purpose, channel, language)
    check_wording(purpose=purpose, channel=channel, subject=words.subject, body=words.body)

    written = text.write(
        purpose=purpose, channel=channel, language=language, fields=samples(purpose, channel)
    )

    assert written.language == language
    assert "Driftline Deck Care" in written.text
    rest = (written.text + written.html).replace("{unsubscribe_url}", "")
    assert "{" not in written.text.replace("{unsubscribe_url}", "")
    assert "{" + "greeting" not in rest
    assert bool(written.html) == (channel == "email")
    if channel == "text":
        assert sms_parts.measure_sms(written.text).encoding == "GSM"
        assert 1 <= written.parts <= 4


def test_no_text_explains_a_word_by_itself_or_takes_its_reader_for_a_man() -> None:
    texts = Texts.load()
    written = [texts.wording(*each) for each in ALL]
    words = [f"{each.subject}\n{each.body}" for each in written if each]
    for text in [*words, str(language_words("fr"))]:
        assert not re.search(r"\b(\w+) \(\1\)", text), text
        assert not re.search(r"\b(?:sûr que|désabonné|prévenu|informé)\b", text), text


def test_a_value_is_put_in_once_and_means_nothing_else() -> None:
    given = GIVEN | {"greeting": "{business} <b>&</b> {unsubscribe_url}"}

    written = compose_text(purpose="first", channel="email", language="en", fields=given)

    assert "Hello {business} <b>&</b> (unsubscribe_url)," in written.text
    assert "Hello {business} &lt;b&gt;&amp;&lt;/b&gt; (unsubscribe_url)," in written.html
    assert written.text.count("{unsubscribe_url}") == written.html.count("{unsubscribe_url}") == 1


def test_a_clock_that_ends_in_a_full_stop_ends_the_sentence_too() -> None:
    """“4:00 p.m.” is how English of Canada writes it (Unicode CLDR, en-CA)."""
    said = fill_fields("We come about {time}. Ring {name}.", {"time": "4:00 p.m.", "name": "us"})

    assert said == "We come about 4:00 p.m. Ring us."


def test_a_line_with_nothing_to_say_is_left_out() -> None:
    Business.objects.update(phone="")

    written = compose_text(purpose="first", channel="email", language="en", fields=GIVEN)

    assert "phone" not in written.text.lower()
    assert "\n\n\n" not in written.text
    assert "You can also phone" not in written.html


@pytest.mark.parametrize(
    ("language", "of_business", "expected"),
    [
        ("fr-CA", "en-CA", "fr"),
        ("fr", "en-CA", "fr"),
        ("gd", "fr-CA", "fr"),
        ("gd", "gd", "en"),
        ("", "en-CA", "en"),
    ],
)
def test_the_language_is_the_clients_then_the_businesss_then_english(
    language: str, of_business: str, expected: str
) -> None:
    Business.objects.update(locale=of_business)
    assert (
        compose_text(purpose="second", channel="text", language=language, fields=GIVEN).language
        == expected
    )


def test_the_owners_wording_goes_before_the_programs() -> None:
    body = "Ciamar a tha thu {greeting}\n{decks} {stop_line}"
    MessageText.objects.create(purpose="first", channel="text", language="gd", body=body)

    assert compose_text(
        purpose="first", channel="text", language="gd-GB", fields=GIVEN
    ).text.startswith("Ciamar a tha thu Ott")


@pytest.mark.parametrize(
    ("fields", "word"),
    [
        ({"greeting": "Ottilie\r\nBcc: spy@example.org"}, "greeting.*line break"),
        ({"greeting": "O" * 2000}, "greeting.*2000 characters"),
        ({"greeting": ""}, "greeting.*nothing was given"),
        ({"due_by": "March\x00"}, "due_by"),
        ({"gretting": "Ottilie"}, "no field called {gretting}"),
    ],
)
def test_a_bad_value_is_refused_naming_the_field_and_logged(
    fields: dict[str, str], word: str, caplog: pytest.LogCaptureFixture
) -> None:
    with pytest.raises(TextProblem, match=word):
        compose_text(purpose="first", channel="email", language="en", fields=GIVEN | fields)
    assert "first by email" in caplog.text


@pytest.mark.parametrize(
    ("subject", "body", "word"),
    [
        ("Hello {name}", "{unsubscribe_url}", "{name}, which is no field"),
        ("Hello", "{greeting.password} {unsubscribe_url}", "no field here"),
        ("Hello", "{offer_url} {unsubscribe_url}", "no field here"),
        ("Hello", "{greeting {unsubscribe_url}", "single {"),
        ("Hello", "greeting} {unsubscribe_url}", "single }"),
        ("Hello", "No link", "must hold {unsubscribe_url}"),
        ("Hello\nBcc: x", "{unsubscribe_url}", "one line"),
        ("", "{unsubscribe_url}", "needs a subject"),
        ("Hello", " \n", "empty"),
    ],
)
def test_a_text_that_cannot_work_is_refused_when_it_is_saved(
    subject: str, body: str, word: str
) -> None:
    with pytest.raises(TextProblem, match=word):
        check_wording(purpose="first", channel="email", subject=subject, body=body)


def test_a_row_that_became_wrong_is_refused_when_it_is_written() -> None:
    MessageText.objects.create(
        purpose="first", channel="text", language="en", body="{decks} {total} {stop_line}"
    )
    with pytest.raises(TextProblem, match=re.escape("{total}")):
        compose_text(purpose="first", channel="text", language="en", fields=GIVEN)


def test_many_texts_are_written_without_further_queries(django_assert_num_queries: Any) -> None:
    with django_assert_num_queries(2):
        texts = Texts.load()
        for _ in range(20):
            texts.write(purpose="first", channel="email", language="fr", fields=GIVEN)
