"""What else goes into the van for a day's work: tools, masking, protection (pure).

Common practice, no source; the products' data sheets may ask for more.
"""

from collections.abc import Iterable
from dataclasses import dataclass

EVERY_DAY = [
    "Gloves, eye protection, mask and boots",
    "Clean water for eyes, first-aid kit",
    "Hose that fits the tap, brooms and buckets",
]
TO_STRIP = [
    "Sprayer or rollers for stripper",
    "Sheets and tape over metal, glass and paint",
    "Covers for plants",
]
TO_SAND = ["Sander, vacuum, cord with RCD (GFCI)"]
TO_COAT = ["Brushes, pads and trays", "Masking tape and paper for walls and posts"]
TO_KEEP_RAGS = ["Closed metal can with water for oily rags"]


@dataclass(frozen=True)
class DayWork:
    """What decides which tools a deck takes."""

    is_strip: bool
    is_coated: bool
    may_burn: bool


def tools_of_day(works: Iterable[DayWork]) -> list[str]:
    """Each once, in the order of the work; nothing for a day without work."""
    found = list(works)
    if not found:
        return []
    parts = [
        (EVERY_DAY, True),
        (TO_STRIP, any(work.is_strip for work in found)),
        (TO_SAND, any(work.is_strip or work.is_coated for work in found)),
        (TO_COAT, any(work.is_coated for work in found)),
        (TO_KEEP_RAGS, any(work.may_burn for work in found)),
    ]
    return [words for those, is_needed in parts if is_needed for words in those]
