"""Where things stand on the paper, so that the address shows in the window of the envelope.
Millimetres.

A4: DIN 5008 form B, as given at din-5008-richtlinien.de ("Anschriftenfeld"): the address field is
85 × 45, 20 from the left; the address proper begins 62.7 from the top and has 27.3, text begins 25
from the left; folds at 105 and 210. A DL envelope (ISO 269: 110 × 220) has its window of 45 × 90 at
20 from the left and 15 from the bottom (DIN 680; from memory). The sheet can slide 5 up and 10
sideways; hence lines of 75 at most. Letter: a number 10 envelope (9½ × 4⅛ in), window 4½ × 1⅛ in, ⅞
in from the left and ½ in from the bottom (the usual one, as the mail guide of the California State
University gives it), ⅛ in of clearance all around (USPS, quoted there). Folded at 4 in the sheet
can slide only ⅛ in up and 1 in sideways; the address lies in what shows in every place.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

from clients.printing import paper_size

INCH = 25.4
# a letter of the address (10 pt) on average, capitals and all; wider than most
MEAN_LETTER_WIDTH = 2.1


@dataclass(frozen=True)
class SheetFrame:
    """A rectangle on the sheet, from its upper left corner."""

    left: float
    top: float
    width: float
    height: float


@dataclass(frozen=True)
class EnvelopeWindow:
    """An envelope and its window."""

    envelope_width: float
    envelope_height: float
    left: float  # from the edge of the envelope
    bottom: float
    width: float
    height: float

    def visible_frame(self, panel: float, *, up: float = 0.0, right: float = 0.0) -> SheetFrame:
        """What shows of a sheet folded to `panel` that lies so far from the lower left corner of
        the envelope."""
        return SheetFrame(
            self.left - right, panel + up - self.bottom - self.height, self.width, self.height
        )


@dataclass(frozen=True)
class Sheet:
    """One way of putting a letter on paper."""

    size: str  # as CSS names it
    left: float  # of all text
    address_top: float
    address_width: float
    address_height: float
    folds: tuple[float, float]
    has_return_line: bool  # above the address, inside the window
    envelope: str
    window: EnvelopeWindow

    @property
    def width(self) -> float:
        return 210.0 if self.size == "A4" else 8.5 * INCH

    @property
    def visible_at_rest(self) -> SheetFrame:
        """What shows while the sheet lies at the bottom and at the left of the envelope."""
        return self.window.visible_frame(self.folds[0])

    @property
    def visible_when_slid(self) -> SheetFrame:
        """What shows while it is pushed up and to the right."""
        up = self.window.envelope_height - self.folds[0]
        right = self.window.envelope_width - self.width
        return self.window.visible_frame(self.folds[0], up=up, right=right)

    @property
    def always_visible(self) -> SheetFrame:
        """What shows wherever it lies."""
        corner = self.visible_at_rest
        slid = self.visible_when_slid
        width = slid.left + slid.width - corner.left
        height = corner.top + corner.height - slid.top
        return SheetFrame(corner.left, slid.top, width, height)

    @property
    def line_height(self) -> float:
        """Six lines a address on A4 as the standard has it, five in the smaller window."""
        return 4.2 if self.size == "A4" else 3.8

    @property
    def max_lines(self) -> int:
        return int(self.address_height / self.line_height)

    def lines_needed(self, lines: Sequence[str]) -> int:
        """On the paper, where a long one breaks."""
        return sum(
            max(1, ceil(len(line) * MEAN_LETTER_WIDTH / self.address_width)) for line in lines
        )


A4 = Sheet(
    size="A4",
    left=25.0,
    address_top=62.7,
    address_width=75.0,
    address_height=27.3,
    folds=(105.0, 210.0),
    has_return_line=True,
    envelope="DL window envelopes (window 20 mm from the left, 15 mm from the bottom)",
    window=EnvelopeWindow(220.0, 110.0, left=20.0, bottom=15.0, width=90.0, height=45.0),
)
US_LETTER = Sheet(
    size="letter",
    left=1.0 * INCH,
    address_top=2.625 * INCH,
    address_width=3.25 * INCH,
    address_height=0.75 * INCH,
    folds=(4.0 * INCH, 7.5 * INCH),
    has_return_line=False,
    envelope=(
        "number 10 window envelopes (window ⅞ in from the left, ½ in from the bottom) with your"
        " return address"
    ),
    window=EnvelopeWindow(
        9.5 * INCH,
        4.125 * INCH,
        left=0.875 * INCH,
        bottom=0.5 * INCH,
        width=4.5 * INCH,
        height=1.125 * INCH,
    ),
)


def sheet_for_country(country: str) -> Sheet:
    """The sheet that this country's paper and envelopes want."""
    return US_LETTER if paper_size(country) == "letter" else A4
