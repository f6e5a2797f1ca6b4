"""Bring your list in, in the browser's own words: chosen, checked, in, mended, undone."""

import re
from pathlib import Path

import pytest
from auditlog.models import LogEntry
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client as Browser
from django.urls import reverse

from clients.models import Business, Client, ContactPoint, Deck, Property
from jobs import search
from jobs.models import ImportRow, Job, ListImport, Product
from reminders.models import Forecast
from tests.factories import MessageFactory
from tests.jobs import old_lists
from tests.jobs.towns import add_towns

pytestmark = pytest.mark.django_db

LIST = """Name,Phone,Email,Address,Size,Wood,Last done,Product,Notes
Ottilie Saltonby,902-555-0101,,"17 Gannet Row, Mahone Bay",24 m2,cedar,Mar 2023,Tidewood oil slate,
"Quill, Halvard",902-555-0102 cell,,"9 Eider Dr., Lunenburg",12x14,PT,2019,Tidewod oil,stripped
,902-555-0103,,"4 Tern Wharf, Chester",20 m2,,2021,,
"""


@pytest.fixture(autouse=True)
def _towns(business: Business) -> None:
    add_towns()


def choose(browser: Browser, text: str, name: str = "my list.csv") -> ListImport:
    file = SimpleUploadedFile(name, text.encode())
    answer = browser.post(reverse("lists:choose"), {"file": file})
    assert answer.status_code == 302, answer.content.decode()
    return ListImport.objects.latest("pk")


def pressed(browser: Browser, source: ListImport, **changes: str) -> str:
    """The page of checks, sent as it stands but for the changes; the page that follows."""
    address = reverse("lists:detail", args=[source.pk])
    page = browser.get(address).content.decode()
    values = {
        name: re.search(r'<option value="([^"]*)" selected', rest)
        for name, rest in re.findall(r'<select name="([^"]+)"(.*?)</select>', page, re.DOTALL)
    }
    given = {name: found[1] if found else "" for name, found in values.items()}
    return browser.post(address, given | changes, follow=True).content.decode()


def bring_in(browser: Browser, text: str) -> ListImport:
    source = choose(browser, text)
    pressed(browser, source, run="1")
    return ListImport.objects.get(pk=source.pk)


def test_a_list_is_shown_as_it_will_become_before_anything_is_saved(as_owner: Browser) -> None:
    source = choose(as_owner, LIST)
    page = as_owner.get(reverse("lists:detail", args=[source.pk])).content.decode()

    assert "What wood do these words mean?" in page
    assert "March 2023: Clean and recoat, Tidewood oil Slate" in page
    assert "Write the name of the client." in page
    assert "Halvard Quill" in page
    assert not Client.objects.exists()


def test_good_rows_come_in_and_the_rest_waits(as_owner: Browser) -> None:
    source = bring_in(as_owner, LIST)

    assert source.state == "done"
    assert ImportRow.objects.filter(source=source).counts_by_state() == {"made": 2, "open": 1}
    quill = Client.objects.get(name="Halvard Quill")
    assert [(point.kind, point.normalized) for point in quill.contact_points.all()] == [
        ("mobile", "+19025550102")
    ]
    job = Job.objects.get(deck__site__client=quill)
    assert (job.kind, job.edtf, job.coats_applied.get().product.name) == (
        "strip",
        "2019",
        "Tidewood oil",
    )
    assert str(job.deck.area_m2) == "15.61"
    assert Forecast.objects.filter(deck=job.deck).exists()
    assert [hit.deck_id for hit in search.find_decks("quill eider").hits] == [job.deck_id]


def test_a_list_leaves_one_entry_in_the_audit_trail(as_owner: Browser) -> None:
    bring_in(as_owner, LIST)

    assert LogEntry.objects.filter(content_type__model="listimport").count() == 1
    assert not LogEntry.objects.filter(content_type__model__in=["client", "job", "deck"]).exists()


def test_a_row_to_complete_is_mended_in_place(as_owner: Browser) -> None:
    source = bring_in(as_owner, LIST)
    row = ImportRow.objects.get(source=source, state="open")
    page = as_owner.post(
        reverse("lists:row", args=[source.pk, row.pk]),
        {f"row-{row.pk}-client": "Marlow Pennington"},
        follow=True,
    ).content.decode()

    assert "Row 4 is in." in page
    assert Property.objects.get(client__name="Marlow Pennington").town == "Chester"
    assert not ImportRow.objects.filter(source=source, state="open").exists()


def test_a_row_to_complete_can_be_left_out(as_owner: Browser) -> None:
    source = bring_in(as_owner, LIST)
    row = ImportRow.objects.get(source=source, state="open")
    as_owner.post(reverse("lists:row", args=[source.pk, row.pk]), {"leave_out": "1"})

    assert ImportRow.objects.get(pk=row.pk).state == "left_out"


def test_an_answer_counts_for_the_whole_list(as_owner: Browser) -> None:
    source = choose(as_owner, LIST)
    page = as_owner.get(reverse("lists:detail", args=[source.pk])).content.decode()
    name = re.search(r'<label for="id_(timber-\w+)">PT', page)[1]
    pressed(as_owner, source, **{name: "spruce", "run": "1"})

    assert Deck.objects.get(site__client__name="Halvard Quill").species == "spruce"


def test_a_column_can_be_told_otherwise(as_owner: Browser) -> None:
    source = choose(as_owner, LIST)
    page = pressed(as_owner, source, **{"column-7": "", "run": "1"})

    assert "The columns were read again" in page
    pressed(as_owner, source, run="1")
    assert not Product.objects.exists()


def test_the_next_list_with_these_columns_is_read_in_the_same_way(as_owner: Browser) -> None:
    source = choose(as_owner, LIST)
    pressed(as_owner, source, **{"column-7": ""})
    pressed(as_owner, source, run="1")
    again = choose(as_owner, LIST)

    assert again.mapping[7] == ""


def test_reading_a_list_again_adds_the_new_phone_and_says_what_changed(as_owner: Browser) -> None:
    bring_in(as_owner, LIST)
    changed = LIST.replace("902-555-0101", "902-555-0177").replace("24 m2", "26 m2")
    source = bring_in(as_owner, changed)
    row = ImportRow.objects.get(source=source, number=2)

    assert row.state == "changed"
    assert "902-555-0177 was added." in row.remarks
    assert "Area: 26.00 instead of 24.00." in row.remarks
    assert ImportRow.objects.get(source=source, number=3).state == "matched"
    ottilie = Client.objects.get(name="Ottilie Saltonby")
    assert {point.normalized for point in ottilie.contact_points.filter(kind="phone")} == {
        "+19025550101",
        "+19025550177",
    }
    assert Job.objects.count() == 2


def test_undoing_takes_out_what_the_list_added_and_puts_back_what_it_changed(
    as_owner: Browser,
) -> None:
    first = bring_in(as_owner, LIST)
    changed = LIST.replace("902-555-0101", "902-555-0177").replace("24 m2", "26 m2")
    second = bring_in(as_owner, changed)
    as_owner.post(reverse("lists:undo", args=[second.pk]))

    assert ListImport.objects.get(pk=second.pk).state == "undone"
    assert str(Deck.objects.get(site__client__name="Ottilie Saltonby").area_m2) == "24.00"
    assert not ContactPoint.objects.filter(normalized="+19025550177").exists()
    as_owner.post(reverse("lists:undo", args=[first.pk]))
    assert not Client.objects.exists()
    assert not Job.objects.exists()
    assert not Product.objects.exists()


def test_nothing_is_undone_once_something_was_built_on_it(as_owner: Browser) -> None:
    source = bring_in(as_owner, LIST)
    MessageFactory(client=Client.objects.get(name="Ottilie Saltonby"))
    page = as_owner.post(reverse("lists:undo", args=[source.pk]), follow=True).content.decode()

    assert "Nothing was undone: 1 messages" in page
    assert Client.objects.count() == 2


def test_an_undone_list_can_be_brought_in_again(as_owner: Browser) -> None:
    source = bring_in(as_owner, LIST)
    as_owner.post(reverse("lists:undo", args=[source.pk]))
    as_owner.post(reverse("lists:again", args=[source.pk]))
    pressed(as_owner, source, run="1")

    assert Client.objects.count() == 2


def test_pasted_cells_are_read_like_a_file(as_owner: Browser) -> None:
    as_owner.post(reverse("lists:choose"), {"cells": LIST.replace(",", "\t").replace('"', "")})

    assert ListImport.objects.get().rows_total == 3


def test_every_sheet_of_a_workbook_is_said(as_owner: Browser, tmp_path: Path) -> None:
    old_lists.write_hand_list(tmp_path / "by hand.xlsx")
    with (tmp_path / "by hand.xlsx").open("rb") as file:
        page = as_owner.post(reverse("lists:choose"), {"file": file}, follow=True)

    assert "The file has 2 sheets: Decks, Old 2012-2017." in page.content.decode()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "The file is empty"),
        (b"\x00\x01\x02client", "not a text file"),
        (b"PK\x03\x04nothing", "cannot be read as a spreadsheet"),
        (b"Name,Phone\n", "holds no rows"),
    ],
)
def test_a_file_that_is_no_list_is_refused_in_words(
    as_owner: Browser, content: bytes, words: str
) -> None:
    file = SimpleUploadedFile("list.xlsx", content)
    page = as_owner.post(reverse("lists:choose"), {"file": file})

    assert words in page.content.decode()
    assert not ListImport.objects.exists()


def test_neither_file_nor_cells_is_said(as_owner: Browser) -> None:
    page = as_owner.post(reverse("lists:choose"), {})

    assert "Choose a file, or paste cells below." in page.content.decode()


def test_a_second_press_brings_nothing_in_twice(as_owner: Browser) -> None:
    source = bring_in(as_owner, LIST)
    page = as_owner.post(
        reverse("lists:detail", args=[source.pk]), {"run": "1"}, follow=True
    ).content.decode()

    assert "This list is brought in already." in page
    assert Client.objects.count() == 2


def test_a_file_or_cells_are_needed_so_neither_is_called_optional(as_owner: Browser) -> None:
    page = as_owner.get("/settings/lists/").content.decode()

    assert 'class="optional"' not in page
    assert (
        "Choose a file, or paste cells below."
        in as_owner.post("/settings/lists/", {"cells": ""}).content.decode()
    )
