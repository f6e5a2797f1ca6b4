"""What is said to clients: texts with fields in braces, the owner's own wording or the program's, in any language."""

from clients.messaging.texts.checking import check
from clients.messaging.texts.fields import FIELDS, TextProblem, fields_of
from clients.messaging.texts.standard import FALLBACK, languages
from clients.messaging.texts.writing import Texts, Written, write

__all__ = ["FALLBACK", "FIELDS", "TextProblem", "Texts", "Written", "check", "fields_of", "languages", "write"]
