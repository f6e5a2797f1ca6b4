"""How well the head of a column fits what it may be."""

import re
from functools import lru_cache

from rapidfuzz import fuzz

from jobs.importing.guessing.fields import FIELDS_BY_NAME, LIST_FIELDS, UNUSED_HEADS

LIKE_ENOUGH = 86  # of 100 (rapidfuzz, ratio): a slip or a plural
UNUSED = ""


@lru_cache(maxsize=5_000)
def folded_head(head: str) -> str:
    """Lower case, single blanks; what stands in brackets stays, as it may be the unit."""
    words = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", head)
    return " ".join(re.findall(r"[^\W_]+|\$", words.casefold().replace("²", "2")))


@lru_cache(maxsize=10_000)
def name_score(head: str, field: str) -> float:
    """0 to 1: 1 where the head is one of the field's, less where it only holds or resembles one."""
    words = folded_head(head)
    if not words:
        return 0.0
    heads = FIELDS_BY_NAME[field].heads if field else UNUSED_HEADS
    own = [folded_head(each) for each in heads] + ([folded_head(field)] if field else [])
    return max(likeness_of_heads(words, each) for each in own)


def likeness_of_heads(words: str, head: str) -> float:
    if words == head:
        return 1.0
    likeness = fuzz.ratio(words, head)
    if likeness >= LIKE_ENOUGH and len(words) > 3:
        return 0.95 * likeness / 100
    if re.search(rf"\b{re.escape(head)}\b", words):
        share = len(head.split()) / len(words.split())
        return 0.6 + 0.3 * share
    return 0.0


@lru_cache(maxsize=5_000)
def head_score(head: str) -> float:
    """How likely the text is the head of any column."""
    names = [each.name for each in LIST_FIELDS] + [UNUSED]
    return max(name_score(head, name) for name in names)
