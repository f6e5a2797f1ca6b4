"""What is said to clients: texts with fields in braces, the owner's own wording or the program's, in any language."""

from clients.texts.checking import check
from clients.texts.fields import FIELDS, TextProblem, fields_of
from clients.texts.standard import FALLBACK, languages
from clients.texts.writing import Texts, Written, write

__all__ = ["FALLBACK", "FIELDS", "TextProblem", "Texts", "Written", "check", "fields_of", "languages", "write"]
