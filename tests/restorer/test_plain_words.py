"""Words that screens, messages, letters and documents do not use, because somebody would act on the
wrong meaning or stop to think. The list and the reasons are the project's own."""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from babel.messages.pofile import read_po

from clients.messaging.models.message import State
from jobs.models import Offer

ROOT = Path(__file__).parents[2]
APPS = ["clients", "jobs", "reminders", "restorer"]
CATALOGUE = ROOT / "restorer/locale/fr/LC_MESSAGES/django.po"
TEXTS = ROOT / "clients/messaging/texts/standard.toml"
DOCUMENTS = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
NOT_PROSE = re.compile(
    r"\{%\s*comment.*?endcomment\s*%\}|\{[%#].*?[%#]\}|\{\{.*?\}\}|<!--.*?-->|<[^>]*>", re.DOTALL
)
# What nobody says any more (a regular expression), and what is said instead.
PLAIN = {
    r"\breckon": "calculate, work out, take into account",
    r"\banew\b": "again",
    r"\bforetold|\bforetell": "forecast",
    r"\b(first|second|last) word\b": "first, second, last reminder",
    r"\bdue for a word\b": "due for a reminder",
    r"\bleave it as it\b|>\s*leave it\s*<|^leave it$": "Cancel",
    r"\bcall(ed)? (it )?off\b": "cancel",
    r"\bsettled?\b(?! on the wood|;)": "do, done, answer",
    r"\bhaste\b": "going early",
    r"\bsurprise a visit\b": "per visit",
    r"\bput off for the weather\b|\bputs off\b": "postponed",
    r"\bneeds a person\b|\bneed a person\b": "needs you, to do",
    r"\bthe program.s words\b": "standard wording",
    r"\brun out\b|\bran out\b|\bruns out\b": "expire",
    r"\bpostcode\b": "postal code",
    r"\bflaking\b": "peeling",
    r"\btins?\b": "can",
    r"\bearlier page\b": "previous page",
    r"\bleft the house\b": "already sent",
    r"\blast words\b": "last answer",
    r"\bin the post\b|\bposted (letter|on|by)\b|\bnot yet posted\b": "mailed",
    r"\b(stands|stood|holds|good) until\b": "valid until",
    r"\bdésabonné\b|\bplus être joint\b": "a form for everybody",
    r"pour cette semaine": "pour la semaine choisie",
}


def prose_of_template(text: str) -> str:
    return NOT_PROSE.sub(" ", text)


def strings_of_module(path: Path) -> Iterator[str]:
    """What a module may say to somebody: its strings but for docstrings and names."""
    tree = ast.parse(path.read_text())
    documented = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    docstrings = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, documented) and node.body and isinstance(node.body[0], ast.Expr)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            is_said = " " in node.value or node.value[:1].isupper()
            if is_said and id(node) not in docstrings and not is_technical(node.value):
                yield node.value


def is_technical(text: str) -> bool:
    """SQL, patterns, and names of columns in a row."""
    if re.fullmatch(r"[a-z_\s]*_[a-z_\s]*", text):
        return True
    return bool(re.search(r"\b(SELECT|FROM|WHERE|UPDATE|JOIN)\b|\bcoalesce\(|\\b|\(\?", text))


@cache
def said() -> list[tuple[str, str]]:
    """Where something is said, and what."""
    found = []
    for app in APPS:
        for path in sorted((ROOT / app).rglob("*.html")):
            found.append((str(path.relative_to(ROOT)), prose_of_template(path.read_text())))
        for path in sorted((ROOT / app).rglob("*.py")):
            if "migrations" not in path.parts:
                name = str(path.relative_to(ROOT))
                found += [(name, text) for text in strings_of_module(path)]
    with CATALOGUE.open("rb") as file:
        for message in read_po(file, locale="fr"):
            strings = [message.string] if isinstance(message.string, str) else message.string
            found += [("django.po", str(text)) for text in strings]
    found += [(TEXTS.name, line) for line in TEXTS.read_text().splitlines() if line[:1] != "#"]
    for path in DOCUMENTS:
        text = path.read_text().partition("## Retired words")[0]
        found.append((path.name, re.sub(r"`[^`]*`|^\| \w+ \|", " ", text, flags=re.MULTILINE)))
    return found


@pytest.mark.parametrize("pattern", PLAIN)
def test_nobody_reads_a_word_that_was_retired(pattern: str) -> None:
    wanted = re.compile(pattern, re.IGNORECASE | re.MULTILINE)
    places = [
        (name, text[max(0, hit.start() - 40) : hit.end() + 40])
        for name, text in said()
        for hit in wanted.finditer(text)
    ]
    assert places == [], f"Say: {PLAIN[pattern]}"


def test_a_sent_message_is_not_called_accepted() -> None:
    assert Offer.State.ACCEPTED.label == "Accepted"
    assert "Accepted" not in [state.label for state in State]


def test_the_first_sentence_after_a_greeting_begins_with_a_capital() -> None:
    lines = re.findall(r"(?:Hello|Bonjour) \{greeting\},\n\n(.)", TEXTS.read_text())

    assert len(lines) > 30
    assert [letter for letter in lines if letter.islower()] == []
