"""French as it is set: apostrophes, and the spaces before marks, which differ by region.

Canada (Office québécois de la langue française, Vitrine linguistique, 22039): a no-break space
before the colon, inside guillemets and before %, none before ; ! ?. Elsewhere a narrow one before
; ! ? (Imprimerie nationale, from memory). Words are written with plain spaces and straight
apostrophes; they are set where they are shown, apart from what somebody typed into a field.
"""

import re

NO_BREAK = "\N{NO-BREAK SPACE}"
NARROW = "\N{NARROW NO-BREAK SPACE}"
APOSTROPHE = re.compile(r"(?<=\w)(?:'|&#x27;|&#39;)(?=\w)")
COLON = re.compile(r"(?<=\S)[ \u00a0]:(?=\s|$|<)")
HIGH_MARKS = re.compile(r"(?<=\S)[ \u00a0\u202f]([;!?])")
GUILLEMETS = re.compile(r"(«) | (»)")
UNIT = re.compile(r"(?<=\d) (?=[%$])")
# Tags, and what somebody typed, stay as they are.
MARKUP = re.compile(r"(<textarea.*?</textarea>|<style.*?</style>|<[^>]*>)", re.DOTALL)


def set_french(text: str, territory: str) -> str:
    """Plain text; `territory` of the reader in two letters."""
    is_canadian = territory == "CA"
    text = HIGH_MARKS.sub(r"\1" if is_canadian else NARROW + r"\1", text)
    text = COLON.sub(f"{NO_BREAK}:", text)
    text = GUILLEMETS.sub(lambda found: f"«{NO_BREAK}" if found[1] else f"{NO_BREAK}»", text)
    return APOSTROPHE.sub("\N{RIGHT SINGLE QUOTATION MARK}", UNIT.sub(NO_BREAK, text))


def set_french_text_message(text: str, territory: str) -> str:
    """The same in the alphabet of text messages, which has no such spaces and apostrophes."""
    return HIGH_MARKS.sub(r"\1", text) if territory == "CA" else text


def set_french_page(markup: str, territory: str) -> str:
    """The text of HTML, not its tags."""
    parts = MARKUP.split(markup)
    parts[::2] = [set_french(part, territory) for part in parts[::2]]
    return "".join(parts)
