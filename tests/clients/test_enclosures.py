"""Enclosures in the print of a batch: behind their letter, in order, each on its own sheet;
the others are named."""

import hashlib
from io import BytesIO
from typing import Any

import pytest
from django.test import Client as Browser
from pypdf import PdfReader, PdfWriter
from pypdf.generic import ArrayObject, NameObject, NumberObject
from weasyprint import HTML

from clients.messaging.channels.letters import printing
from clients.messaging.models import Attachment, LetterBatch
from tests.clients.test_letters import new_batch, queued_letter

pytestmark = [pytest.mark.slow, pytest.mark.usefixtures("business")]
PDF = "application/pdf"
BEGINNINGS = [
    "Letter run",
    "Dear Marlow",
    "Bonjour Marlow",
    "First enclosure 1",
    "Second enclosure 1",
]
# points: ANSI A is 8½ × 11 in; ISO 216 A5 is 148 × 210 mm, rounded
LETTER = (612, 792)
A5 = (420, 595)


def sheet(words: str, *, pages: int = 1, size: str = "letter", **options: Any) -> bytes:
    """A PDF of other people, without tags unless asked for."""
    text = "".join(
        f"<h1 style='break-after:page'>{words} {number}</h1>" for number in range(1, pages)
    )
    html = (
        f"<html lang=en><title>x</title><style>@page {{ size: {size} }}</style>{text}<h1>{words}"
        f" {pages}</h1>"
    )
    return HTML(string=html).write_pdf(**options)


def locked(pdf: bytes) -> bytes:
    writer = PdfWriter(clone_from=BytesIO(pdf))
    target = BytesIO()
    writer.encrypt("low tide", algorithm="RC4-128")
    writer.write(target)
    return target.getvalue()


def tangled(pdf: bytes) -> bytes:
    """It opens and has a page, and what is drawn there is nested without end."""
    writer = PdfWriter(clone_from=BytesIO(pdf))
    target = BytesIO()
    nested: Any = NumberObject(7)
    for _ in range(2_000):
        nested = writer._add_object(ArrayObject([nested]))
    writer.pages[0]["/Resources"][NameObject("/Properties")] = nested
    writer.write(target)
    return target.getvalue()


def pages(
    browser: Browser, batch: LetterBatch, sides: str = "both"
) -> tuple[bytes, list[str], list[tuple[int, int]]]:
    """The print, what is on each page in short, and each page's size in points."""
    answer = browser.post(f"/outbox/letters/{batch.pk}/print/", {"sides": sides})
    assert answer["Content-Type"] == PDF
    read = PdfReader(BytesIO(answer.content)).pages
    words = [" ".join(page.extract_text().split()) for page in read]
    return (
        answer.content,
        words,
        [(round(page.mediabox.width), round(page.mediabox.height)) for page in read],
    )


def test_each_letter_is_followed_by_its_enclosures_each_on_a_sheet_of_its_own(
    as_owner: Browser,
) -> None:
    one = ("one.pdf", PDF, sheet("First enclosure", pages=3, size="A5"))
    two = ("two.pdf", PDF, sheet("Second enclosure", pages=2))
    queued_letter(1, attachments=[one, two])
    queued_letter(2, text="Bonjour Marlow,\n\nà mardi", language="fr", attachments=[one])
    queued_letter(3)
    batch = new_batch(as_owner)

    pdf, words, sizes = pages(as_owner, batch)

    # An odd page is a right-hand one, whose back is the page after it: whatever begins has an even
    # place, from 0.
    empty = "This side is left empty."
    vide = "Page laissée vide intentionnellement."
    begins = {
        place: word for place, each in enumerate(words) for word in BEGINNINGS if word in each
    }
    assert begins == {
        0: "Letter run",
        2: "Dear Marlow",
        4: "First enclosure 1",
        8: "Second enclosure 1",
        10: "Bonjour Marlow",
        12: "First enclosure 1",
        16: "Dear Marlow",
    }
    assert words[5:7] == ["First enclosure 2", "First enclosure 3"]
    assert {place: each for place, each in enumerate(words) if each in {empty, vide}} == {
        1: empty,
        3: empty,
        7: empty,
        11: vide,
        15: vide,
        17: empty,
    }
    assert {place for place, size in enumerate(sizes) if size == A5} == {4, 5, 6, 7, 12, 13, 14, 15}
    assert set(sizes) == {A5, LETTER}
    batch.refresh_from_db()
    assert (
        batch.pdf_sha256 == hashlib.sha256(pdf).hexdigest()
    )  # FIPS 180-4, by the standard library
    assert "one.pdf, 3 pages behind it; two.pdf, 2 pages behind it" in words[0]


def test_for_one_side_of_the_paper_nothing_is_left_empty(as_owner: Browser) -> None:
    queued_letter(1, attachments=[("one.pdf", PDF, sheet("Enclosure", pages=2))])

    _, words, _ = pages(as_owner, new_batch(as_owner), "one")

    assert len(words) == 4
    assert words[2:] == ["Enclosure 1", "Enclosure 2"]
    assert "on one side of the paper" in words[0]


def test_what_cannot_be_printed_is_named_and_stays_apart(as_owner: Browser) -> None:
    good = sheet("Sound", pdf_variant="pdf/ua-1")
    files = [
        ("good.pdf", PDF, good),
        ("visit.ics", "text/calendar", b"BEGIN:VCALENDAR"),
        ("broken.pdf", PDF, b"%PDF-1.7 x"),
        ("locked.pdf", PDF, locked(good)),
        ("tangled.pdf", PDF, tangled(good)),
        ("cut.pdf", PDF, good[: len(good) // 2]),
        ("long.pdf", PDF, sheet("Long", pages=61)),
    ]
    queued_letter(1, attachments=files)
    queued_letter(2, attachments=files[:1])
    batch = new_batch(as_owner)

    _, words, _ = pages(as_owner, batch)
    page = as_owner.get(f"/outbox/letters/{batch.pk}/").content.decode()

    assert [each for each in words if each == "Sound 1"] == ["Sound 1"] * 2
    apart = {
        "visit.ics": "it is no PDF",
        "broken.pdf": "it cannot be read",
        "locked.pdf": "it is protected by a password",
        "tangled.pdf": "it cannot be read",
        "cut.pdf": "it cannot be read",
        "long.pdf": "it has 61 pages; at most 60 are printed behind a letter",
    }
    for name, why in apart.items():
        assert f"No. 1, Marlow Pennington 1: {name}, {why}." in words[0]
        assert (
            f"Not in the print, to be printed by itself. Marlow Pennington 1: {name}, {why}."
            in page
        )
        assert page.count(f'<span class="soft">{why}</span>') >= 1
        row = Attachment.objects.get(name=name)
        assert as_owner.get(f"/outbox/letters/enclosures/{row.pk}/").content == bytes(row.content)
    assert page.count("Print by itself") == len(apart)


def test_a_print_is_for_paper_and_does_not_say_that_it_is_pdf_ua(as_owner: Browser) -> None:
    link = "<a href='https://example.com/'>here</a>"
    files = [("plain.pdf", sheet(link)), ("tagged.pdf", sheet("Sound", pdf_variant="pdf/ua-1"))]
    queued_letter(1, attachments=[(name, PDF, content) for name, content in files])

    batch = new_batch(as_owner)

    pdf, words, _ = pages(as_owner, batch)

    assert {"here 1", "Sound 1"} <= set(words)
    assert b"pdfuaid:part" not in pdf  # ISO 14289-1, clause 5: who says so must keep it
    reader = PdfReader(BytesIO(pdf), strict=True)
    assert not {"/StructTreeRoot", "/MarkInfo", "/Metadata"} & set(reader.root_object)
    assert reader.metadata
    assert reader.metadata.title == f"Letters, batch {batch.pk} · Driftline Deck Care"


def test_enclosures_beyond_the_most_a_print_can_hold_stay_apart(
    as_owner: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    pdf = sheet("Heavy")
    monkeypatch.setattr(
        "clients.messaging.channels.letters.enclosures.MAX_ENCLOSED_BYTES", len(pdf) * 2
    )
    for number in (1, 2, 3):
        queued_letter(number, attachments=[("heavy.pdf", PDF, pdf)])

    _, words, _ = pages(as_owner, new_batch(as_owner))

    assert words.count("Heavy 1") == 2
    assert "No. 3, Marlow Pennington 3: heavy.pdf, the print would have more than" in words[0]


def test_a_fault_of_ours_is_not_blamed_on_an_enclosure(
    as_owner: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    queued_letter(1, attachments=[("one.pdf", PDF, sheet("Enclosure"))])
    batch = new_batch(as_owner)
    monkeypatch.setattr(printing, "render_empty_side", lambda *size_and_language: 1 // 0)

    with pytest.raises(ZeroDivisionError):
        pages(as_owner, batch)
    batch.refresh_from_db()
    assert (batch.prints, batch.pdf_sha256) == (0, "")
