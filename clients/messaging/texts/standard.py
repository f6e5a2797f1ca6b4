"""The texts that come with the program (standard.toml), and words around them in each of their
languages."""

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from clients.languages import primary_language

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
    return {code: words["name"] for code, words in standard_texts()["words"].items()}


@cache
def standard_wording(purpose: str, channel: str, language: str) -> Wording | None:
    """The program's text in exactly this language, if there is one."""
    found = standard_texts()[purpose][channel].get(language)
    return Wording(found.get("subject", ""), found["body"].strip("\n"), language) if found else None


def standard_phrase(language: str, name: str) -> str:
    """A phrase around texts, such as the stop line; English where the language has none."""
    words = standard_texts()["words"]
    return str(words.get(primary_language(language), words[FALLBACK_LANGUAGE])[name])


def language_chain(*wanted: str) -> list[str]:
    """The languages to try, each before its shorter form: fr-CA, fr, en-CA, en."""
    found: list[str] = []
    for language in (*wanted, FALLBACK_LANGUAGE):
        for form in (language.replace("_", "-"), primary_language(language)):
            if form and form not in found:
                found.append(form)
    return found
