"""The words that clients read: wholly translated, with the same fields in them, and compiled as
they stand."""

import re
from gettext import GNUTranslations
from html.parser import HTMLParser
from io import StringIO
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from babel import Locale
from babel.messages.catalog import Message
from django.conf import settings
from django.core.management import CommandError, call_command
from django.template.base import Lexer, TokenType
from django.utils import translation
from django.utils.translation import trans_real

from clients.display import in_client_language
from clients.messaging import texts
from restorer import catalogue

FIELD = re.compile(
    r"%\(\w+\)s|\{\w*\}|<[^>]+>|%%"
)  # of gettext, of str.format, tags, a sign for per cent


SEEN_BY_CLIENTS = [
    *Path(settings.BASE_DIR, "jobs/templates/jobs/public").glob("*.html"),
    *Path(settings.BASE_DIR, "jobs/templates/jobs/pdf").glob("[!d]*.html"),  # the day sheet is ours
    Path(settings.BASE_DIR, "jobs/templates/jobs/sign_off.html"),
    Path(settings.BASE_DIR, "clients/templates/clients/unsubscribe.html"),
    Path(settings.BASE_DIR, "clients/templates/clients/_privacy.html"),
    Path(settings.BASE_DIR, "restorer/templates/restorer/client_paper.html"),
    Path(settings.BASE_DIR, "reminders/templates/reminders/_wear_curve_svg.html"),
    Path(settings.BASE_DIR, "restorer/templates/django/forms/field.html"),
]
WORD = re.compile(r"[^\W\d_]{2,}")


class Unmarked(HTMLParser):
    """Text that stands in the page itself, and in attributes that are read out."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.words += [
            value or ""
            for name, value in attrs
            if name in {"alt", "title", "aria-label", "data-label"}
        ]

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def without_tags(template: str) -> str:
    """What is left of a template without its tags, and without what stands in marked blocks and
    comments."""
    left = []
    skipped = False
    for token in Lexer(template).tokenize():
        name = token.contents.split(" ")[0] if token.token_type == TokenType.BLOCK else ""
        if name in {"blocktranslate", "comment"}:
            skipped = True
        elif name in {"endblocktranslate", "endcomment"}:
            skipped = False
        elif token.token_type == TokenType.TEXT and not skipped:
            left.append(token.contents)
    return "".join(left)


def messages(language: str) -> list[Message]:
    return [message for message in catalogue.read_catalogue(language) if message.id]


def forms(text: object) -> list[str]:
    return list(text) if isinstance(text, (list, tuple)) else [str(text)]


def test_pages_are_in_every_language_that_the_texts_are_in() -> None:
    assert dict(settings.LANGUAGES) == texts.text_languages()


@pytest.mark.parametrize("language", catalogue.translated_languages())
def test_every_word_for_clients_is_translated_and_none_is_left_over(language: str) -> None:
    marked = {
        (message.context, str(message.id)) for message in catalogue.marked_messages() if message.id
    }
    known = {(message.context, str(message.id)) for message in messages(language)}

    assert known - marked == set(), "run manage.py words"
    assert marked - known == set(), "run manage.py words and translate"
    assert catalogue.untranslated_messages(catalogue.read_catalogue(language)) == []


@pytest.mark.parametrize("language", catalogue.translated_languages())
def test_a_translation_has_the_fields_of_the_original(language: str) -> None:
    for message in messages(language):
        original, *_ = forms(message.id)
        for translated in forms(message.string):
            assert sorted(FIELD.findall(translated)) == sorted(FIELD.findall(original)), original


@pytest.mark.parametrize("language", catalogue.translated_languages())
def test_one_and_many_are_told_apart_as_the_language_does(language: str) -> None:
    # Unicode CLDR
    found = catalogue.read_catalogue(language)
    rule = Locale(language).plural_form

    # One million is “many” in the French of CLDR, which gettext has no form for; nothing here is
    # counted that far.
    ours = trans_real.translation(language)
    said = [ours.ngettext("visit", "visits", number) for number in range(40)]
    assert [first == second for first, second in pairwise(said)] == [
        rule(n) == rule(n + 1) for n in range(39)
    ]
    assert all(
        len(forms(m.string)) == found.num_plurals
        for m in messages(language)
        if isinstance(m.id, tuple)
    )


@pytest.mark.parametrize("language", catalogue.translated_languages())
def test_what_is_compiled_is_what_is_written(language: str) -> None:
    with catalogue.catalogue_path(language).with_suffix(".mo").open("rb") as file:
        compiled = GNUTranslations(file)  # of the standard library

    for message in messages(language):
        said = forms(message.string)
        (one, *many) = forms(message.id)
        if many:
            assert [compiled.ngettext(one, many[0], number) for number in (1, 2)] == said, (
                "run manage.py words"
            )
        else:
            found = (
                compiled.pgettext(message.context, one)
                if message.context
                else compiled.gettext(one)
            )
            assert [found] == said, "run manage.py words"


@pytest.mark.parametrize("path", SEEN_BY_CLIENTS, ids=lambda path: path.name)
def test_no_template_that_clients_see_has_words_that_are_not_marked(path: Path) -> None:
    found = Unmarked()
    found.feed(without_tags(path.read_text(encoding="utf-8")))
    found.close()

    assert WORD.findall(" ".join(found.words)) == []


def test_no_translation_holds_two_sentences_run_together() -> None:
    """As when two versions of one are merged."""
    for language in catalogue.translated_languages():
        for message in catalogue.read_catalogue(language):
            for said in [message.string] if isinstance(message.string, str) else message.string:
                assert not re.search(r"[a-zà-ÿ][.!?][A-ZÀ-Ý]", said), said


def test_the_command_says_what_is_not_translated(
    tmp_path: Any, settings: Any, monkeypatch: Any
) -> None:
    settings.LOCALE_PATHS = [tmp_path]
    said = StringIO()

    with pytest.raises(CommandError, match="Translate them"):
        call_command("words", stdout=said)

    assert "Yes, please come" in said.getvalue()
    assert catalogue.catalogue_path("fr").with_suffix(".mo").exists()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("wanted", "language"), [("fr", "fr"), ("fr-CA", "fr"), ("gd", "en"), ("", "en"), ("x", "en")]
)
def test_a_client_reads_their_language_else_that_of_the_business(
    wanted: str, language: str, business: object
) -> None:
    with in_client_language(wanted):
        assert translation.get_language() == language
        assert (translation.gettext("Unsubscribe") == "Se désabonner") == (language == "fr")
    assert translation.get_language() == "en"
