"""Bringing in an old list, through the command."""

import csv
import json
from collections.abc import Callable
from datetime import date
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from openpyxl import Workbook

from clients.models import Business, Client, Deck, Place, Property
from jobs import search
from jobs.models import Batch, CoatApplied, Job, Product, Visit

pytestmark = pytest.mark.django_db

ROW = {
    "client": "Ottilie Saltonby",
    "email": "ottilie@example.org",
    "phone": "902-555-0123",
    "street": "17 Gannet Row",
    "town": "Mahone Bay",
    "area_m2": "18",
    "species": "Western red cedar",
    "job_date": "2024-06-12",
    "job_kind": "strip",
    "product": "Saltmarsh Oil",
    "maker": "Tidewood",
    "finish_class": "penetrating_oil",
    "colour": "Slate",
    "batch": "SM-1",
    "coats": "2",
    "litres": "4",
    "grade": "4",
    "price": "1250.50",
    "crew": "Tern crew",
}


@pytest.fixture(autouse=True)
def _towns(business: Business) -> None:
    Place.objects.create(
        geoname_id=1,
        name="Mahone Bay",
        ascii_name="Mahone Bay",
        region="Nova Scotia",
        country="CA",
        latitude=44.45,
        longitude=-64.38,
        time_zone="America/Halifax",
        population=1000,
    )


@pytest.fixture
def sheet(tmp_path: Path) -> Callable[..., Path]:
    """A CSV file of rows, each given by what differs from ROW."""

    def write(*changes: dict[str, str], delimiter: str = ",", encoding: str = "utf-8") -> Path:
        rows = [ROW | change for change in changes]
        names = list(dict.fromkeys(name for row in rows for name in row))
        path = tmp_path / "old list.csv"
        with path.open("w", newline="", encoding=encoding) as file:
            writer = csv.DictWriter(file, names, delimiter=delimiter)
            writer.writeheader()
            writer.writerows(rows)
        return path

    return write


def bring_in(path: Path, **options: object) -> dict[str, int]:
    out = StringIO()
    call_command("import_book", str(path), format="json", stdout=out, stderr=StringIO(), **options)
    return json.loads(out.getvalue())[0]


def problems(path: Path) -> list[dict[str, object]]:
    out = StringIO()
    with pytest.raises(CommandError, match="nothing was imported"):
        call_command("import_book", str(path), format="json", stdout=out, stderr=StringIO())
    return json.loads(out.getvalue())


def test_a_row_becomes_client_property_deck_product_batch_visit_and_job(
    sheet: Callable[..., Path],
) -> None:
    made = bring_in(sheet({}))

    assert made == {
        "clients": 1,
        "properties": 1,
        "decks": 1,
        "products": 1,
        "batches": 1,
        "jobs": 1,
        "already_there": 0,
    }
    job = Job.objects.get()
    coat = job.coats_applied.get()
    assert (job.finished_on, job.kind, str(job.amount), job.currency) == (
        date(2024, 6, 12),
        "strip",
        "1250.50",
        "CAD",
    )
    assert (coat.product.name, coat.batch.code, coat.colour, coat.coats, str(coat.litres)) == (
        "Saltmarsh Oil",
        "SM-1",
        "Slate",
        2,
        "4.00",
    )
    assert job.visit.grade == 4
    assert job.deck.species == "red_cedar"
    assert job.deck.site.time_zone == "America/Halifax"
    assert job.source == "old list.csv, row 2"
    assert [point.normalized for point in job.deck.site.client.contact_points.order_by("kind")] == [
        "ottilie@example.org",
        "+19025550123",
    ]


def test_an_imported_deck_is_found_by_the_search(sheet: Callable[..., Path]) -> None:
    bring_in(sheet({}))

    assert [hit.deck_id for hit in search.find_decks("saltmarsh gannet").hits] == [
        Deck.objects.get().pk
    ]


def test_the_same_sheet_twice_adds_nothing(sheet: Callable[..., Path]) -> None:
    path = sheet({}, {"job_date": "2025-07-01", "job_kind": "recoat"})
    bring_in(path)
    made = bring_in(path)

    assert made["already_there"] == 2
    assert [
        model.objects.count()
        for model in (Client, Property, Deck, Product, Batch, Job, CoatApplied, Visit)
    ] == [
        1,
        1,
        1,
        1,
        1,
        2,
        2,
        2,
    ]


def test_two_rows_of_one_job_are_one_job_with_two_products(sheet: Callable[..., Path]) -> None:
    bring_in(
        sheet(
            {},
            {"product": "Kelp Strip", "product_kind": "stripper", "finish_class": "", "batch": ""},
        )
    )

    assert [coat.product.name for coat in Job.objects.get().coats_applied.all()] == [
        "Saltmarsh Oil",
        "Kelp Strip",
    ]


def test_one_wrong_row_keeps_all_rows_out(sheet: Callable[..., Path]) -> None:
    found = problems(sheet({}, {"client": "Halvard Quill", "coats": "0"}))

    assert found == [
        {"row": 3, "column": "coats", "message": "“0” must be a whole number from 1 to 10"}
    ]
    assert Client.objects.count() == 0


@pytest.mark.parametrize(
    ("column", "cell", "message"),
    [
        ("client", "", "is empty and must be filled"),
        ("email", "a@example.org, b@example.org", "is not one e-mail address"),
        ("phone", "12", "telephone number|too few digits"),
        ("town", "Atlantis", "is not a town we know in CA"),
        ("country", "Canada", "must be two letters"),
        ("area_m2", "0", "must be above 0"),
        ("area_m2", "1,250", "can be read in two ways"),
        ("area_m2", "", "is a new deck: give its area"),
        ("litres", "-3", "must be above 0"),
        ("litres", "NaN", "must be above 0|is not a number"),
        ("coats", "two", "must be a whole number"),
        ("grade", "6", "from 0 to 5"),
        ("job_date", "31/02/2024", "is not a date"),
        ("job_date", "06/07/2024", "is not a date"),
        ("job_date", "2999-01-01", "in the future"),
        ("job_date", "1912-01-01", "before 1950"),
        ("job_kind", "paint", "is not one of: strip, recoat"),
        ("species", "plastic", "is not one of"),
        ("finish_class", "", "give its finish_class"),
        ("notes", "x" * 20_001, "longer than 20,000 characters"),
    ],
)
def test_a_wrong_cell_is_told_with_its_row_and_column(
    sheet: Callable[..., Path], column: str, cell: str, message: str
) -> None:
    found = problems(sheet({column: cell}))

    assert [(problem["row"], problem["column"]) for problem in found] == [(2, column)]
    assert any(part in str(found[0]["message"]) for part in message.split("|"))
    assert Job.objects.count() == 0


def test_an_unknown_column_is_refused_with_the_likely_one(sheet: Callable[..., Path]) -> None:
    found = problems(sheet({"colours": "Slate"}))

    assert found == [
        {
            "row": 1,
            "column": "colours",
            "message": "is not a column of the sheet. Did you mean colour?",
        }
    ]


@pytest.mark.parametrize(
    ("delimiter", "encoding"), [(";", "utf-8-sig"), ("\t", "utf-16"), (",", "cp1252")]
)
def test_other_separators_and_encodings_are_read(
    sheet: Callable[..., Path], delimiter: str, encoding: str
) -> None:
    bring_in(
        sheet(
            {"client": "Zoë Fenwäller", "area_m2": "12.5"}, delimiter=delimiter, encoding=encoding
        )
    )

    assert Client.objects.get().name == "Zoë Fenwäller"


def test_a_spreadsheet_with_real_dates_and_numbers_is_read(tmp_path: Path) -> None:
    workbook = Workbook()
    cells = ROW | {"job_date": date(2024, 6, 12), "area_m2": 18.5, "coats": 2, "litres": 4.25}
    workbook.active.append(list(cells))
    workbook.active.append(list(cells.values()))
    workbook.save(tmp_path / "book.xlsx")

    bring_in(tmp_path / "book.xlsx")

    assert str(Deck.objects.get().area_m2) == "18.50"
    assert Job.objects.get().finished_on == date(2024, 6, 12)


def test_square_feet_and_gallons_are_turned_into_metric(sheet: Callable[..., Path]) -> None:
    bring_in(sheet({"area_m2": "", "area_ft2": "200", "litres": "", "gallons": "1"}))

    # 1 ft = 0.3048 m and 1 US gal = 3.785411784 L exactly (NIST Handbook 44, appendix C; from
    # memory).
    assert str(Deck.objects.get().area_m2) == "18.58"
    assert str(CoatApplied.objects.get().litres) == "3.79"


def test_a_dry_run_checks_everything_and_writes_nothing(sheet: Callable[..., Path]) -> None:
    made = bring_in(sheet({}), dry_run=True)

    assert made["jobs"] == 1
    assert Job.objects.count() == 0
    assert Client.objects.count() == 0


def test_coordinates_stand_in_for_a_town_we_do_not_know(sheet: Callable[..., Path]) -> None:
    bring_in(sheet({"town": "Gull Cove", "latitude": "44.6", "longitude": "-63.6"}))

    assert Property.objects.get().time_zone == "America/Halifax"


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("empty.csv", b"", "is empty"),
        ("twice.csv", b"client,client\na,b\n", "twice"),
        ("not.xlsx", b"this is no spreadsheet", "cannot be read as a spreadsheet"),
        ("binary.csv", b"\x00\x01\x02client", "not a text file"),
    ],
)
def test_a_file_that_is_no_sheet_is_refused_as_a_whole(
    tmp_path: Path, name: str, content: bytes, message: str
) -> None:
    (tmp_path / name).write_bytes(content)

    with pytest.raises(CommandError, match=message):
        call_command("import_book", str(tmp_path / name))


def test_a_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="There is no file"):
        call_command("import_book", str(tmp_path / "none.csv"))
