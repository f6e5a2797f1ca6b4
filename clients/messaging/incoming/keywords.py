"""Words that clients send back to hear no more, to hear again, or to ask who writes."""

import re
import unicodedata
from enum import Enum

# 47 CFR 64.1200(a)(10), as amended 2024: stop, quit, end, revoke, opt out, cancel, unsubscribe. The
# others are carriers' custom (from memory), and the French ones of Canada. NO is none: it may just
# decline an offer.
STOP_KEYWORDS = {
    "stop",
    "quit",
    "end",
    "revoke",
    "opt out",
    "optout",
    "cancel",
    "unsubscribe",
    "stopall",
    "stop all",
    "remove",
    "arret",
    "arreter",
    "desabonner",
}
START_KEYWORDS = {
    "start",
    "unstop",
}  # only as the whole message; YES is none: it may just answer a question
HELP_KEYWORDS = {"help", "info", "aide"}
NON_ALPHANUMERIC = re.compile(r"[^a-z0-9]+")


class Keyword(Enum):
    STOP = "stop"
    START = "start"
    HELP = "help"
    NONE = "none"


def bare_text(text: str) -> str:
    """Lower case, without accents and punctuation, one space between words."""
    bare = "".join(
        each for each in unicodedata.normalize("NFKD", text) if not unicodedata.combining(each)
    )
    return NON_ALPHANUMERIC.sub(" ", bare.casefold()).strip()


def keyword_of(text: str) -> Keyword:
    """STOP counts as the whole message or its first word:
    one stop too many can be put right, one too few cannot."""
    said = bare_text(text)
    for keyword, forms in ((Keyword.START, START_KEYWORDS), (Keyword.HELP, HELP_KEYWORDS)):
        if said in forms:
            return keyword
    first, _, rest = said.partition(" ")
    starts = {first, f"{first} {rest.partition(' ')[0]}"}
    return Keyword.STOP if starts & STOP_KEYWORDS else Keyword.NONE


def has_more_than_keyword(text: str) -> bool:
    """More than the word: "End of May suits us" stops the messages and is read by a person too."""
    return bare_text(text) not in STOP_KEYWORDS | START_KEYWORDS | HELP_KEYWORDS
