"""What is said to clients: texts with fields in braces, the owner's own wording or the program's,
in any language."""

from clients.messaging.texts.composing import LOGO_CONTENT_ID, ComposedText, Texts, compose_text
from clients.messaging.texts.example import example_fields
from clients.messaging.texts.standard import (
    FALLBACK_LANGUAGE,
    MARKETING_PURPOSES,
    MESSAGE_FIELDS,
    TextProblem,
    Wording,
    check_wording,
    fields_of,
    lacks_client_page,
    missing_texts,
    standard_phrase,
    standard_phrases,
    substitute_typography,
    text_languages,
)

__all__ = [
    "FALLBACK_LANGUAGE",
    "LOGO_CONTENT_ID",
    "MARKETING_PURPOSES",
    "MESSAGE_FIELDS",
    "ComposedText",
    "TextProblem",
    "Texts",
    "Wording",
    "check_wording",
    "compose_text",
    "example_fields",
    "fields_of",
    "lacks_client_page",
    "missing_texts",
    "standard_phrase",
    "standard_phrases",
    "substitute_typography",
    "text_languages",
]
