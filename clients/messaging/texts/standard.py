"""The texts that come with the program (standard.toml), and words around them in each of their
languages."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from clients.languages import primary_language
from clients.messaging.models import MessageText
from clients.models.channel import Channel, traits_of

FALLBACK_LANGUAGE = "en"


@dataclass(frozen=True)
class Wording:
    """A text before its fields are filled in."""

    subject: str
    body: str
    language: str
    is_own: bool = False


@cache
def standard_texts() -> dict[str, Any]:
    return tomllib.loads((Path(__file__).parent / "standard.toml").read_text(encoding="utf-8"))


def text_languages() -> dict[str, str]:
    """Code → its own name, of the languages that the program has texts in."""
    return {code: words.get("name", code) for code, words in standard_texts()["words"].items()}


@cache
def standard_wording(purpose: str, channel: str, language: str) -> Wording | None:
    """The program's text in exactly this language, if there is one."""
    found = standard_texts().get(purpose, {}).get(channel, {}).get(language)
    return Wording(found.get("subject", ""), found["body"].strip("\n"), language) if found else None


def standard_phrases(language: str, group: str) -> Mapping[str, Any]:
    """Phrases that belong together, such as the replies to a word sent back; English where the
    program has no texts in this language."""
    found: Mapping[str, Any] = language_words(language)[group]
    return found


def standard_phrase(language: str, name: str) -> str:
    """A phrase around texts, such as the stop line; English as above."""
    return str(language_words(language)[name])


def language_words(language: str) -> Mapping[str, Any]:
    words = standard_texts()["words"]
    found: Mapping[str, Any] = words.get(primary_language(language), words[FALLBACK_LANGUAGE])
    return found


def missing_texts() -> list[str]:
    """What has no text, as it would stand in standard.toml: for each occasion, channel and language
    of the program, and each word that English has."""
    found = [
        f"{purpose}.{channel}.{language}"
        for purpose in MessageText.Purpose.values
        for channel in Channel.values
        for language in text_languages()
        if not has_standard_wording(purpose, channel, language)
    ]
    english = phrase_names(language_words(FALLBACK_LANGUAGE))
    for language in text_languages():
        there = phrase_names(language_words(language))
        found += [f"words.{language}.{name}" for name in english if name not in there]
    return found


def has_standard_wording(purpose: str, channel: str, language: str) -> bool:
    found = standard_wording(purpose, channel, language)
    return found is not None and bool(found.subject or not traits_of(channel).needs_subject)


def phrase_names(words: Mapping[str, Any], group: str = "") -> list[str]:
    """The names of all phrases that have words, with their group: “replies.stop”."""
    found = []
    for name, value in words.items():
        if isinstance(value, dict):
            found += phrase_names(value, f"{name}.")
        elif value:
            found.append(f"{group}{name}")
    return found


def language_chain(*wanted: str) -> list[str]:
    """The languages to try, each before its shorter form: fr-CA, fr, en-CA, en."""
    found: list[str] = []
    for language in (*wanted, FALLBACK_LANGUAGE):
        for form in (language.replace("_", "-"), primary_language(language)):
            if form and form not in found:
                found.append(form)
    return found
