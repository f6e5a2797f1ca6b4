"""How large the letters on a page of a PDF are."""

from collections.abc import Iterator
from typing import Any

from pypdf import PageObject


def type_sizes(page: PageObject) -> Iterator[tuple[str, float]]:
    """Each piece of text with its size [pt]: that of the font, scaled by the matrices of the text
    and of the page (ISO 32000-1, 9.4.4)."""
    found: list[tuple[str, float]] = []

    def note(text: str, cm: Any, tm: Any, _font: Any, size: float) -> None:
        if words := " ".join(text.split()):
            found.append((words, round(float(size) * abs(float(tm[3]) * float(cm[3])), 2)))

    page.extract_text(visitor_text=note)
    yield from found
