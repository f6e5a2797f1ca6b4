"""The address in the window of the envelope, wherever the sheet slides, and the sheet to try it
with."""

import io
from dataclasses import astuple

import pytest
from django.test import Client as Browser
from pypdf import PdfReader
from pypdf.generic import ContentStream

from clients.messaging.channels.letters.sheets import A4, US_LETTER, Sheet, sheet_for_country
from clients.models import Business
from tests.clients.test_letters import places
from tests.pdf_ua import faults

INCH = 25.4


def test_the_window_of_a_number_10_envelope_shows_the_address_wherever_the_sheet_lies() -> None:
    # Envelope 9½ × 4⅛ in, window 4½ × 1⅛ in, ⅞ in from the left, ½ in from the bottom (California
    # State University, "Normal window placement", quoted at
    # answers.google.com/answers/threadview?id=712795, with ⅛ in of clearance).
    inch = 25.4
    panel = US_LETTER.folds[0]
    up = 4.125 * inch - panel
    sideways = (9.5 - 8.5) * inch
    shows_from = (
        panel - (0.5 + 1.125) * inch + up
    )  # the sheet pushed up: its lower part is in the window
    shows_to = panel - 0.5 * inch  # the sheet at the bottom of the envelope
    clear = inch / 8

    assert shows_from + clear == pytest.approx(US_LETTER.address_top)
    assert US_LETTER.address_top + US_LETTER.max_lines * US_LETTER.line_height <= shows_to - clear
    assert 0.875 * inch + clear <= US_LETTER.left + 0.001
    assert US_LETTER.left + US_LETTER.address_width <= (0.875 + 4.5) * inch - sideways - clear
    assert US_LETTER.max_lines == 5


def test_the_a4_sheet_keeps_din_5008_form_b() -> None:
    # din-5008-richtlinien.de, "Anschriftenfeld": 62.7 mm from the top, 27.3 mm for 6 lines, the
    # field 85 mm from 20 mm
    assert (A4.address_top, A4.address_height, A4.max_lines) == (62.7, 27.3, 6)
    assert A4.left >= 20
    assert A4.left + A4.address_width <= 20 + 85
    assert (
        sheet_for_country("CA"),
        sheet_for_country("US"),
        sheet_for_country("NZ"),
        sheet_for_country("FR"),
    ) == (
        US_LETTER,
        US_LETTER,
        A4,
        A4,
    )


def test_what_shows_in_every_place_of_the_sheet_is_what_shows_in_its_corners() -> None:
    # ISO 269: DL is 110 × 220 mm; window 45 × 90 mm, 20 from the left and 15 from the bottom: DIN
    # 680, from memory. Sheet folded at 105 mm: it can slide 5 up and 10 to the right, so 80 × 40 mm
    # of it show wherever it lies.
    assert astuple(A4.visible_at_rest) == (20, 45, 90, 45)
    assert astuple(A4.visible_when_slid) == (10, 50, 90, 45)
    assert astuple(A4.always_visible) == (20, 50, 80, 40)
    # number 10, 9½ × 4⅛ in, sheet folded at 4 in: ⅛ in up, 1 in to the right (the window as in the
    # test above)
    in_inches = [side / INCH for side in astuple(US_LETTER.always_visible)]
    assert in_inches == pytest.approx([0.875, 2.5, 3.5, 1.0])


@pytest.mark.parametrize("sheet", [A4, US_LETTER], ids=["A4", "Letter"])
def test_the_longest_address_lies_in_what_always_shows(sheet: Sheet) -> None:
    shows = sheet.always_visible

    assert shows.left <= sheet.left
    assert sheet.left + sheet.address_width <= shows.left + shows.width + 0.001
    assert shows.top <= sheet.address_top
    assert sheet.address_top + sheet.max_lines * sheet.line_height <= shows.top + shows.height


@pytest.mark.parametrize("country", ["CA", "NZ"])
def test_the_test_sheet_is_one_page_with_every_line_of_an_address_in_the_window(
    as_owner: Browser, business: Business, country: str
) -> None:
    Business.objects.update(country=country)
    assert "/outbox/letters/test-sheet/" in as_owner.get("/outbox/letters/").content.decode()

    answer = as_owner.get("/outbox/letters/test-sheet/")

    reader = PdfReader(io.BytesIO(answer.content))
    sheet = sheet_for_country(country)
    assert (answer["Content-Type"], len(reader.pages)) == ("application/pdf", 1)
    at = places(reader, 0)
    shows = sheet.always_visible
    lines = [place for words, place in at.items() if words.startswith("Line ")]
    assert len(lines) == sheet.max_lines
    for x, y in lines:
        assert shows.left < x < shows.left + shows.width
        assert shows.top < y < shows.top + shows.height
    if sheet.has_return_line:
        sender = next(
            place for words, place in at.items() if words.startswith("Driftline Deck Care, 4 Tern")
        )
        assert shows.top < sender[1] < sheet.address_top
    assert faults(answer.content) == []
    assert [round(side, 1) for side in astuple(shows)] in rectangles(reader)


def rectangles(reader: PdfReader) -> list[list[float]]:
    """Drawn on the first page: left, top, width, height in mm.
    WeasyPrint draws in CSS pixels, 96 an inch."""
    drawn = ContentStream(reader.pages[0]["/Contents"], reader).operations
    sides = [operands for operands, operator in drawn if operator == b"re"]
    return [[round(float(side) / 96 * INCH, 1) for side in each] for each in sides]
