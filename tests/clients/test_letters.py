"""Letters: one PDF a batch, the address in the window, and nothing is posted but by a person."""

import io
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.test import Client as Browser
from django.utils import timezone
from pypdf import PdfReader

from clients.messaging.channels.letters import batches, printing
from clients.messaging.channels.letters.addresses import window_lines
from clients.messaging.channels.letters.sheets import sheet_for_country
from clients.messaging.models import Attachment, LetterBatch, Message
from clients.messaging.outbox import decisions
from clients.messaging.reach import Reach
from clients.models import Business, User
from tests.business_day import today_there
from tests.factories import ClientFactory, PropertyFactory
from tests.outbox import queue_test_message

pytestmark = [pytest.mark.slow, pytest.mark.usefixtures("business")]
POINT = 25.4 / 72  # mm


def queued_letter(number: int = 1, *, client: Any = None, text: str = "", **over: Any) -> Message:
    if client is None:
        client = ClientFactory(name=f"Marlow Pennington {number}")
        PropertyFactory(
            client=client, street=f"{number} Cormorant Lane", town="Chester", postcode="B0J 1J0"
        )
    values: dict[str, Any] = {
        "client": client,
        "kind": "service",
        "channel": "letter",
        "address": Reach([client.pk]).address(client.pk, "letter"),
        "subject": "We come on Tuesday",
        "text": text or "Dear Marlow,\n\nwe come on Tuesday.\n\nKind regards\nMaren",
        "key": f"visit/{number}",
    }
    return queue_test_message(**(values | over))


def new_batch(browser: Browser) -> LetterBatch:
    answer = browser.post("/outbox/letters/new/")
    assert answer.status_code == 302
    return LetterBatch.objects.order_by("-pk")[0]


def printed(browser: Browser, batch: LetterBatch) -> PdfReader:
    answer = browser.post(f"/outbox/letters/{batch.pk}/print/")
    assert answer["Content-Type"] == "application/pdf"
    return PdfReader(io.BytesIO(answer.content))


def places(reader: PdfReader, page: int) -> dict[str, tuple[float, float]]:
    """Each piece of text → where its baseline begins, in mm from the left and the top."""
    found: dict[str, tuple[float, float]] = {}
    height = float(reader.pages[page].mediabox.height)

    def note(text: str, current: list[float], matrix: list[float], font: Any, size: float) -> None:
        if text.strip():
            x = matrix[4] * current[0] + matrix[5] * current[2] + current[4]
            y = matrix[4] * current[1] + matrix[5] * current[3] + current[5]
            found.setdefault(text.strip(), (x * POINT, (height - y) * POINT))

    reader.pages[page].extract_text(visitor_text=note)
    return found


@pytest.mark.parametrize(("country", "size"), [("CA", (612.0, 792.0)), ("NZ", (595.28, 841.89))])
def test_a_batch_is_one_pdf_with_each_address_in_its_window(
    as_owner: Browser, country: str, size: tuple[float, float]
) -> None:
    Business.objects.update(country=country)
    (
        queued_letter(1),
        queued_letter(2, text="Dear Marlow,\n\n" + "A long paragraph about boards. " * 300),
    )
    batch = new_batch(as_owner)

    reader = printed(as_owner, batch)

    # ISO 216 A4 210 × 297 mm; ANSI A 8½ × 11 in, in points
    box = reader.pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(size, abs=0.1)
    assert len(reader.pages) >= 6
    sheet = sheet_for_country(country)
    at = places(reader, 2)
    street = at["1 Cormorant Lane"]
    town = at["Chester NS  B0J 1J0"]
    for x, y in (at["Marlow Pennington 1"], street, town):
        assert x == pytest.approx(sheet.left, abs=0.5)
        assert sheet.address_top < y < sheet.address_top + sheet.address_height
    assert 3 < town[1] - street[1] < 5
    assert f"{batch.pk}/1" in reader.pages[2].extract_text()
    slip = reader.pages[0].extract_text()
    assert "2 letters" in slip
    assert "Print number" not in slip


def test_three_lines_abroad_and_two_at_home(business: Business) -> None:
    home = queued_letter(1)
    client = ClientFactory(
        name="Odile Rivage",
        postal_street="3 rue des Sternes\nBâtiment B",
        postal_town="Quimper",
        postal_postcode="29000",
        postal_country="FR",
    )
    abroad = queued_letter(2, client=client)

    assert window_lines(business, home) == [
        "Marlow Pennington 1",
        "1 Cormorant Lane",
        "Chester NS  B0J 1J0",
    ]
    # UPU S42: the country in capitals on the last line, in a language of the sending country (from
    # memory)
    assert window_lines(business, abroad) == [
        "Odile Rivage",
        "3 rue des Sternes",
        "Bâtiment B",
        "29000 Quimper",
        "FRANCE",
    ]
    # moved since: the frozen address counts
    client.postal_town = "Brest"
    client.save()
    abroad = Message.objects.get(pk=abroad.pk)
    assert "29000" in " ".join(window_lines(business, abroad))
    assert "Quimper" in " ".join(window_lines(business, abroad))


def test_a_letter_is_accepted_when_a_person_says_it_is_posted(
    as_owner: Browser, owner: User
) -> None:
    message = queued_letter(1)
    batch = new_batch(as_owner)
    assert "Print the letter run first." in posted(as_owner, batch)
    printed(as_owner, batch)

    assert "Noted: 1 letter mailed." in posted(as_owner, batch)
    assert "It was mailed before." in posted(as_owner, batch)  # a second click

    message.refresh_from_db()
    batch.refresh_from_db()
    assert (message.state, batch.posted_by) == ("accepted", owner)
    assert message.accepted_at
    notes = [event.note for event in message.events.order_by("id")]
    assert notes == [
        "",
        f"Printed as letter 1 of batch {batch.pk}.",
        f"Mailed with letter run {batch.pk}.",
    ]


def posted(browser: Browser, batch: LetterBatch) -> str:
    return browser.post(f"/outbox/letters/{batch.pk}/posted/", follow=True).content.decode()


def test_what_is_cancelled_or_held_after_the_print_is_named_and_not_counted(
    as_owner: Browser, owner: User
) -> None:
    first = queued_letter(1)
    held = queued_letter(2)
    gone = queued_letter(3)
    batch = new_batch(as_owner)
    printed(as_owner, batch)
    now = timezone.now()
    decisions.hold_message(message=held, now=now, by=owner)
    decisions.cancel_unsent(messages=[gone], why="They called and booked.", now=now, by=owner)

    page = as_owner.get(f"/outbox/letters/{batch.pk}/").content.decode()
    assert "Take these out of the pile" in page
    assert "They called and booked." in page
    said = posted(as_owner, batch)

    assert "Noted: 1 letter mailed." in said
    assert "Marlow Pennington 2, Marlow Pennington 3" in said
    assert {each.pk: each.state for each in Message.objects.all()} == {
        first.pk: "accepted",
        held.pk: "queued",
        gone.pk: "cancelled",
    }
    decisions.release_message(message=held, now=now, by=owner)
    assert new_batch(as_owner).letters.get().message == held


def test_a_reprint_says_so_on_every_sheet(as_owner: Browser) -> None:
    queued_letter(1)
    batch = new_batch(as_owner)
    printed(as_owner, batch)
    batch.refresh_from_db()
    first = batch.pdf_sha256

    again = printed(as_owner, batch)

    batch.refresh_from_db()
    assert (batch.prints, len(first), batch.pdf_sha256 != first) == (2, 64, True)
    assert "Print number 2" in again.pages[0].extract_text()
    assert "print 2" in again.pages[2].extract_text()


def test_the_same_letters_give_the_same_bytes(as_owner: Browser, owner: User) -> None:
    queued_letter(1)
    batch = new_batch(as_owner)
    business = Business.objects.get()
    letters = batches.letters_in_batch(batch, business)
    today = today_there()

    one, two = (
        printing.batch_pdf(batch, letters, business=business, today=today, copy=1, both_sides=True)
        for _ in range(2)
    )

    assert printing.pdf_fingerprint(one) == printing.pdf_fingerprint(two)


def test_two_people_at_once_do_not_print_a_letter_twice(
    as_owner: Browser, office: User, as_user: Callable
) -> None:
    queued_letter(1)
    new_batch(as_owner)

    said = as_user(office).post("/outbox/letters/new/", follow=True).content.decode()

    assert "No letter is waiting to be printed." in said
    assert LetterBatch.objects.count() == 1


def test_an_open_batch_can_be_given_up_and_a_posted_one_cannot(as_owner: Browser) -> None:
    message = queued_letter(1)
    batch = new_batch(as_owner)
    as_owner.post(f"/outbox/letters/{batch.pk}/give-up/")
    message.refresh_from_db()
    assert (message.state, LetterBatch.objects.count()) == ("queued", 0)
    batch = new_batch(as_owner)
    printed(as_owner, batch)
    posted(as_owner, batch)

    said = as_owner.post(f"/outbox/letters/{batch.pk}/give-up/", follow=True).content.decode()

    assert "nothing can call it back" in said
    assert LetterBatch.objects.count() == 1


def test_a_letter_that_came_back_can_be_sent_again_in_another_batch(
    as_owner: Browser, owner: User
) -> None:
    message = queued_letter(1)
    batch = new_batch(as_owner)
    printed(as_owner, batch), posted(as_owner, batch)
    as_owner.post(f"/outbox/{message.pk}/came_back/")
    message.refresh_from_db()
    assert message.state == "bounced"
    assert message in Message.objects.needing_a_person()

    decisions.resend_message(message=message, now=timezone.now(), by=owner)

    assert new_batch(as_owner).letters.get().message == message


def test_an_archived_client_gets_no_letter(as_owner: Browser) -> None:
    message = queued_letter(1)
    type(message.client).objects.update(archived_at=timezone.now())

    as_owner.post("/outbox/letters/new/")

    message.refresh_from_db()
    assert (message.state, message.reply, LetterBatch.objects.count()) == (
        "cancelled",
        "The client is archived.",
        0,
    )


def test_an_address_too_long_for_the_window_is_named_before_paper_is_used(
    as_owner: Browser,
) -> None:
    client = ClientFactory(
        name="Long House",
        postal_street="a\nb\nc\nd",
        postal_town="Quimper",
        postal_country="FR",
        postal_postcode="29000",
    )
    queued_letter(1, client=client)
    batch = new_batch(as_owner)

    said = as_owner.post(f"/outbox/letters/{batch.pk}/print/", follow=True).content.decode()

    assert "The address of Long House has 7 lines; the window has room for 5." in said
    batch.refresh_from_db()
    assert batch.prints == 0


def test_enclosures_are_named_on_the_slip_and_can_be_fetched(as_owner: Browser) -> None:
    message = queued_letter(1)
    row = Attachment.objects.create(
        message=message, name='offer "7".pdf', media_type="application/pdf", content=b"%PDF-1.7 x"
    )
    batch = new_batch(as_owner)

    assert 'offer "7".pdf' in printed(as_owner, batch).pages[0].extract_text()
    answer = as_owner.get(f"/outbox/letters/enclosures/{row.pk}/")

    assert (answer.content, answer["Content-Disposition"]) == (
        b"%PDF-1.7 x",
        'attachment; filename="offer _7_.pdf"',
    )


def test_a_letter_is_dated_as_its_reader_writes_a_day(as_owner: Browser) -> None:
    queued_letter(1), queued_letter(2, language="fr")
    batch = new_batch(as_owner)
    business = Business.objects.get()
    today = date(2027, 2, 3)

    letters = batches.letters_in_batch(batch, business)
    pdf = printing.batch_pdf(
        batch, letters, business=business, today=today, copy=1, both_sides=True
    )
    pages = PdfReader(io.BytesIO(pdf)).pages

    # Unicode CLDR, medium dates of en-CA and fr (read in Babel)
    assert "Feb 3, 2027" in pages[2].extract_text()
    assert "3 févr. 2027" in pages[4].extract_text()


def test_markup_in_a_letter_is_text(as_owner: Browser) -> None:
    queued_letter(1, text="Dear <b>Marlow</b>,\n\n<img src='http://127.0.0.1:1/x.png'> & more")

    assert "<b>Marlow</b>" in printed(as_owner, new_batch(as_owner)).pages[2].extract_text()
