"""Any list as people keep it, by the command and its best guesses."""

import json
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

from clients.models import Business, Deck, Place, Property
from jobs.models import CoatApplied
from tests.jobs import old_lists
from tests.jobs.towns import add_towns

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _towns(business: Business) -> None:
    add_towns()


def guess(path: Path, **options: object) -> list[dict[str, Any]]:
    out = StringIO()
    call_command(
        "import_book",
        str(path),
        guess=True,
        format="json",
        stdout=out,
        stderr=StringIO(),
        **options,
    )
    return json.loads(out.getvalue())


@pytest.mark.parametrize(
    ("write", "name"),
    [
        (old_lists.write_client_sheet, "clients.xlsx"),
        (old_lists.write_invoice_lines, "invoices.csv"),
        (old_lists.write_hand_list, "by hand.xlsx"),
    ],
)
def test_nine_of_ten_rows_of_an_honest_list_are_ready_by_guessing(
    tmp_path: Path, write, name: str
) -> None:
    count = write(tmp_path / name)
    found = guess(tmp_path / name)

    assert found[0]["rows"] == count
    assert found[0]["ready"] >= 0.9 * count


def test_a_hamlet_lies_by_the_town_of_most_rows_where_nobody_said_where_the_business_is(
    tmp_path: Path,
) -> None:
    Business.objects.update(town="", region="")
    Place.objects.create(
        geoname_id=99,
        name="Toronto",
        ascii_name="Toronto",
        region="Ontario",
        country="CA",
        latitude=43.7,
        longitude=-79.4,
        time_zone="America/Toronto",
        population=2_731_571,
    )
    old_lists.write_client_sheet(tmp_path / "clients.xlsx")

    guess(tmp_path / "clients.xlsx")

    hamlet = Property.objects.filter(town="Blue Rocks").first()
    assert hamlet is not None
    lunenburg = Place.objects.get(name="Lunenburg")
    assert float(hamlet.latitude) == pytest.approx(float(lunenburg.latitude))


DECK_BOOK = """\
Marsh & Sons deck book,,,,,,
Who,Tel,Where,Deck,How big,Job,Done
"Pemberly, Orla",(902) 555-0161,"12 Sandpiper Lane, Lunenburg",cedar back deck,14x20,\
stripped & oiled 2 coats walnut,May 2022
,,,,,wash + 1 coat,Sept 2023
Quill Ottermarsh,902-555-0164,"7 Plover Ct, Lunenburg",ipe,120,strip sand 2 cts solid stain,2023
Una Marrow,,"31 Curlew Row, Lunenburg",front porch,?,recoat w/ semi-transparent,2024
Gus Petrel,,"19 Heron Way, Lunenburg",Larch,9m x 4m,wash only,2025
"""


def test_wood_finish_and_coats_are_read_where_only_the_names_of_deck_and_work_tell_them(
    tmp_path: Path,
) -> None:
    path = tmp_path / "deck book.csv"
    path.write_text(DECK_BOOK)

    found = guess(path)

    assert (found[0]["rows"], found[0]["decks"], found[0]["jobs"]) == (5, 4, 5)
    asked = {(each["doubt"], each["about"], each["guess"]) for each in found[0]["doubts"]}
    assert ("timber", "cedar", "Western red cedar") in asked  # it may be white cedar
    assert ("classes", "Solid stain", "Solid stain or paint (film)") in asked
    assert dict(Deck.objects.values_list("label", "species")) == {
        "cedar back deck": "red_cedar",
        "ipe": "ipe",
        "front porch": "unknown",
        "Larch": "larch",
    }
    coats = CoatApplied.objects.order_by("job__finished_on")
    columns = ("job__deck__label", "product__name", "product__finish_class", "colour", "coats")
    assert list(coats.values_list(*columns)) == [
        ("cedar back deck", "Deck oil", "penetrating_oil", "Walnut", 2),
        ("cedar back deck", None, None, "", 1),
        ("ipe", "Solid stain", "solid_film", "", 2),
        ("front porch", "Semi-transparent stain", "semitransparent", "", None),
    ]


def test_a_row_below_of_another_place_or_size_is_another_deck(tmp_path: Path) -> None:
    path = tmp_path / "decks.csv"
    path.write_text(
        "Client,Address,Deck,Size,Work,Date\n"
        'Orla Pemberly,"12 Sandpiper Lane, Lunenburg",Back deck,24 m2,Recoat,2024-06-01\n'
        ",,,8 m2,Recoat,2024-06-02\n"
        ',"4 Gannet Rise, Lunenburg",,,Recoat,2024-06-03\n'
    )

    guess(path)

    assert sorted(Deck.objects.values_list("site__street", "label", "area_m2")) == [
        ("12 Sandpiper Lane", "Back deck", 24),
        ("12 Sandpiper Lane", "Deck", 8),
        ("4 Gannet Rise", "Deck", None),
    ]
