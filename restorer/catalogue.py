"""The words that clients read, in every language:
what is marked in the code, what is translated, what is compiled.

Words are marked the way Django has it (`gettext`, `{% translate %}`); the catalogues lie in
`restorer/locale/`. Babel reads and compiles them, so nobody needs the gettext programs.
"""

import io
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path

from babel.messages.catalog import Catalog, Message
from babel.messages.extract import DEFAULT_KEYWORDS, extract
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po
from django.conf import settings
from django.utils.translation.template import templatize

APPS = ("clients", "jobs", "reminders", "restorer")
LAZY_KEYWORDS = {
    f"{name}_lazy": counts for name, counts in DEFAULT_KEYWORDS.items() if name.endswith("gettext")
}
KEYWORDS = {**DEFAULT_KEYWORDS, **LAZY_KEYWORDS}

FIXED_DATE = datetime(2026, 1, 1, tzinfo=UTC)  # the same words make the same file
VOLATILE_HEADERS = (
    b'"POT-',
    b'"PO-Revision',
    b'"Last-',
    b'"Project',
    b'"Report',
    b'"Generated',
    b'"Language-Team',
)


def catalogue_path(language: str) -> Path:
    return Path(settings.LOCALE_PATHS[0]) / language / "LC_MESSAGES" / "django.po"


def translated_languages() -> list[str]:
    """The languages beside English, which stands in the code itself."""
    return [code for code, _ in settings.LANGUAGES if code != settings.LANGUAGE_CODE]


def marked_messages() -> Catalog:
    """Every message that is marked in code and templates, with where it stands."""
    found = Catalog(fuzzy=False)
    for path in source_files():
        place = path.relative_to(settings.BASE_DIR).as_posix()
        for _line, message, _comments, context in extract("python", python_source(path), KEYWORDS):
            found.add(message, locations=[(place, 0)], context=context)
    return found


def source_files() -> Iterator[Path]:
    for app in APPS:
        for pattern in ("*.py", "*.html"):
            yield from sorted((settings.BASE_DIR / app).rglob(pattern))


def python_source(path: Path) -> io.BytesIO:
    """A template as the calls that it makes; without its indents, which mean nothing there."""
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".html":
        text = "\n".join(line.strip() for line in templatize(text).split("\n"))
    return io.BytesIO(text.encode())


def read_catalogue(language: str) -> Catalog:
    """The catalogue as it lies on disk; an empty one for a language that has none yet."""
    path = catalogue_path(language)
    if not path.exists():
        return Catalog(locale=language, fuzzy=False)
    with path.open("rb") as file:
        return read_po(file, locale=language)


def updated_catalogue(language: str, words: Catalog) -> Catalog:
    """The catalogue with what is marked now: new messages empty, those that nobody uses gone."""
    found = Catalog(locale=language, fuzzy=False, header_comment="")
    old = read_catalogue(language)
    for message in words:
        if message.id:
            known = old.get(message.id, message.context)
            string = known.string if known else None
            found.add(message.id, string, locations=message.locations, context=message.context)
    return found


def untranslated_messages(catalogue: Catalog) -> list[Message]:
    """Messages that are not wholly translated."""
    return [
        message for message in catalogue if message.id and not all(translation_strings(message))
    ]


def translation_strings(message: Message) -> Iterable[str | None]:
    return message.string if isinstance(message.string, (list, tuple)) else [message.string]


def catalogue_as_po(catalogue: Catalog) -> bytes:
    """Without days and names, as far as the format lets them be left out."""
    file = io.BytesIO()
    write_po(file, catalogue, width=120, sort_output=True, include_lineno=False)
    return b"".join(
        line
        for line in file.getvalue().splitlines(keepends=True)
        if not line.startswith(VOLATILE_HEADERS)
    )


def catalogue_as_mo(catalogue: Catalog) -> bytes:
    catalogue.creation_date = catalogue.revision_date = FIXED_DATE
    file = io.BytesIO()
    write_mo(file, catalogue)
    return file.getvalue()
