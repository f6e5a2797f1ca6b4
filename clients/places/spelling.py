"""How a place name is compared: without accents, case or doubled spaces."""

import unicodedata
from functools import lru_cache

# Letters that Unicode does not take apart into a base letter and an accent.
WHOLE_LETTERS = str.maketrans(
    {
        "ß": "ss",
        "Æ": "Ae",
        "æ": "ae",
        "Œ": "Oe",
        "œ": "oe",
        "Ø": "O",
        "ø": "o",
        "Ł": "L",
        "ł": "l",
        "Đ": "D",
        "đ": "d",
        "Ð": "D",
        "ð": "d",
        "Þ": "Th",
        "þ": "th",
        "Ħ": "H",
        "ħ": "h",
        "ı": "i",
        "Ə": "A",
        "ə": "a",
        "’": "'",
        "‘": "'",
        "ʻ": "'",
        "ʼ": "'",
        "ʿ": "'",
        "ʾ": "'",
        "`": "'",
        "–": "-",
        "—": "-",
    }
)


@lru_cache(maxsize=20_000)
def strip_accents(text: str) -> str:
    """The name in unaccented letters, spaces single; letters of other scripts stay as they are."""
    if text.isascii():
        return " ".join(text.replace("`", "'").split())
    parts = unicodedata.normalize("NFKD", text.translate(WHOLE_LETTERS))
    return " ".join(
        "".join(letter for letter in parts if not unicodedata.combining(letter)).split()
    )


def fold_place_name(text: str) -> str:
    """The form in which two names are compared."""
    return strip_accents(text).upper()
