"""Primary keys as they come from outside."""

from collections.abc import Iterable


def is_primary_key(text: str) -> bool:
    """Whether it is a number that a key can be."""
    return text.isascii() and text.isdecimal() and len(text) <= 18


def primary_keys(texts: Iterable[str]) -> list[int]:
    """Each once and in order; what is no key was not chosen on our page."""
    return sorted({int(text) for text in texts if is_primary_key(text)})
