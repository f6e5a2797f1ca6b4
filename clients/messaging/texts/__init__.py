"""What is said to clients: texts with fields in braces, the owner's own wording or the program's,
in any language."""

from clients.messaging.texts.composing import ComposedText, Texts, compose_text
from clients.messaging.texts.standard import (
    FALLBACK_LANGUAGE,
    MESSAGE_FIELDS,
    TextProblem,
    check_wording,
    fields_of,
    text_languages,
)

__all__ = [
    "FALLBACK_LANGUAGE",
    "MESSAGE_FIELDS",
    "ComposedText",
    "TextProblem",
    "Texts",
    "check_wording",
    "compose_text",
    "fields_of",
    "text_languages",
]
