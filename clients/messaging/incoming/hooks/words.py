"""Words that clients send back to hear no more, to hear again, or to ask who writes."""

import re
import unicodedata
from enum import Enum

# 47 CFR 64.1200(a)(10), as amended 2024: stop, quit, end, revoke, opt out, cancel, unsubscribe. The others are
# carriers' custom (from memory), and the French ones of Canada. NO is none: it may just decline an offer.
STOP = {
    "stop", "quit", "end", "revoke", "opt out", "optout", "cancel", "unsubscribe", "stopall", "stop all", "remove",
    "arret", "arreter", "desabonner",
}  # fmt: skip
START = {"start", "unstop"}  # only as the whole message; YES is none: it may just answer a question
HELP = {"help", "info", "aide"}
NOT_A_WORD = re.compile(r"[^a-z0-9]+")


class Word(Enum):
    STOP = "stop"
    START = "start"
    HELP = "help"
    NONE = "none"


def plain(text: str) -> str:
    """Lower case, without accents and punctuation, one space between words."""
    bare = "".join(each for each in unicodedata.normalize("NFKD", text) if not unicodedata.combining(each))
    return NOT_A_WORD.sub(" ", bare.casefold()).strip()


def word_of(text: str) -> Word:
    """STOP counts as the whole message or its first word: one stop too many can be put right, one too few cannot."""
    said = plain(text)
    for word, forms in ((Word.START, START), (Word.HELP, HELP)):
        if said in forms:
            return word
    first, _, rest = said.partition(" ")
    starts = {first, f"{first} {rest.partition(' ')[0]}"}
    return Word.STOP if starts & STOP else Word.NONE


def says_more(text: str) -> bool:
    """More than the word: "End of May suits us" stops the messages and is read by a person too."""
    return plain(text) not in STOP | START | HELP
