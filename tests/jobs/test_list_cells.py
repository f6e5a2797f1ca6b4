"""What people write in cells, and what it is taken for."""

from datetime import date

import pytest

from jobs.importing.cells import (
    Calendar,
    UnreadableCell,
    group_spellings,
    read_area,
    read_coats,
    read_emails,
    read_finish,
    read_litres,
    read_money,
    read_name,
    read_past_work,
    read_phones,
    read_span,
    read_timber,
    split_address,
    street_key,
)
from jobs.importing.rows.product_cells import split_product_cell

CALENDAR = Calendar(date(2026, 11, 29), day_first=True)


@pytest.mark.parametrize(
    ("text", "edtf"),
    [
        ("Mar 2023", "2023-03"),
        ("14/11/22", "2022-11-14"),
        ("7/3/22", "2022-03-07"),
        ("spring 21", "2021-21"),
        ("fall '22", "2022-23"),
        ("2019", "2019"),
        ("14-Jun-24", "2024-06-14"),
        ("12/31/2024", "2024-12-31"),
        ("31.12.24", "2024-12-31"),
        ("June 14th, 2024", "2024-06-14"),
        ("juin 2021", "2021-06"),
        ("6/2024", "2024-06"),
        ("c. 2018", "2018"),
        ("2018/19", "[2018..2019]"),
        ("early June 2023", "[2023-06-01..2023-06-10]"),
        ("late 2020", "[2020-09..2020-12]"),
        ("45123", "2023-07-16"),  # a spreadsheet's number of a day (ECMA-376; from memory)
        ("2023-21", "2023-21"),  # ISO 8601-2:2019: spring
        ("winter 2020", "[2019-12..2021-02]"),  # may be that of either side of New Year
    ],
)
def test_a_day_stays_as_vague_as_it_was_written(text: str, edtf: str) -> None:
    span = read_span(text, CALENDAR)

    assert span.edtf() == edtf


def test_where_the_month_comes_first_the_same_figures_are_another_day() -> None:
    assert read_span("7/3/22", Calendar(date(2026, 11, 29), day_first=False)).edtf() == "2022-07-03"


@pytest.mark.parametrize("text", ["soon", "June 2", "99/99/2022", "2031", "1949", "31/2/2022"])
def test_what_is_no_past_day_is_refused_with_a_word(text: str) -> None:
    with pytest.raises(UnreadableCell, match=r"date we can read|lacks the year|future|before 1950"):
        read_span(text, CALENDAR)


# 1 ft² = 0.09290304 m² exactly (NIST Handbook 44, appendix C; from memory).
@pytest.mark.parametrize(
    ("text", "m2"),
    [
        ("24 m2", "24.00"),
        ("260 sq ft", "24.15"),
        ("12x14", "15.61"),
        ("~320'", "29.73"),
        ("12'6\" x 14'", "16.26"),
        ("3.5 x 4 m", "14.00"),
        ("20x10 + 4x6", "20.81"),
        ("approx. 300 sq. ft.", "27.87"),
        ("18,5 m²", "18.50"),
    ],
)
def test_sizes_become_square_metres(text: str, m2: str) -> None:
    assert str(read_area(text, "ft2").m2) == m2


@pytest.mark.parametrize(
    ("text", "amount"),
    [
        ("$1,250.00 + tax", "1250.00"),
        ("1.250,00 €", "1250.00"),
        ("1,250", "1250.00"),
        ("(250.00)", "-250.00"),
        ("n/c", "None"),
    ],
)
def test_prices_are_read(text: str, amount: str) -> None:
    assert str(read_money(text)) == amount


@pytest.mark.parametrize(
    ("text", "coats", "litres"),
    [
        ("2 cts", "2", "None"),
        ("1 gal", "None", "3.79"),
        ("two coats, 2 x 4L", "2", "8.00"),
        ("1/2 gal", "None", "1.89"),
    ],
)
def test_coats_and_amounts_are_read(text: str, coats: str, litres: str) -> None:
    assert (str(read_coats(text)), str(read_litres(text))) == (coats, litres)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("902.555.0143 cell", [("+19025550143", True)]),
        (
            "902-555-0103 / 902 555 0104 (c)",
            [("+19025550103", False), ("+19025550104", True)],
        ),
        ("555-0190", [("+19025550190", False)]),
        ("cell 902-555-0101, home 9025550102", [("+19025550101", True), ("+19025550102", False)]),
        ("1-902-555-0101 x12", [("+19025550101;ext=12", False)]),
    ],
)
def test_all_numbers_of_a_cell_are_read(text: str, found: list[tuple[str, bool]]) -> None:
    assert [(p.e164, p.is_mobile) for p in read_phones(text, "CA", "902")] == found


def test_a_number_is_kept_as_it_was_written() -> None:
    found = read_phones("(902) 555-0166 / 902.555.0164 (home)", "CA", "902")
    assert [phone.written for phone in found] == ["(902) 555-0166", "902.555.0164"]


def test_a_short_number_without_an_area_code_is_refused() -> None:
    with pytest.raises(UnreadableCell, match="lacks the area code"):
        read_phones("555-0190", "CA")


def test_several_addresses_are_read_and_a_turned_name_is_turned_back() -> None:
    assert read_emails("a@example.org; <b@example.org>") == ("a@example.org", "b@example.org")
    assert read_name("Saltonby, Ottilie") == "Ottilie Saltonby"
    assert read_name("Bayside Cottages, Ltd") == "Bayside Cottages, Ltd"


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        (
            "17 Gannet Row, Mahone Bay, NS B0J 2E0",
            ("17 Gannet Row", "Mahone Bay", "Nova Scotia", "B0J 2E0"),
        ),
        ("17 Gannet Row Mahone Bay NS", ("17 Gannet Row", "Mahone Bay", "Nova Scotia", "")),
        ("Lunenburg, NS", ("", "Lunenburg", "Nova Scotia", "")),
        ("17 Gannet Row", ("17 Gannet Row", "", "", "")),
    ],
)
def test_an_address_in_one_cell_comes_apart(text: str, parts: tuple[str, ...]) -> None:
    found = split_address(
        text,
        country="CA",
        regions={"NS": "Nova Scotia", "NOVA SCOTIA": "Nova Scotia"},
        is_town=lambda name: name.casefold() in {"mahone bay", "lunenburg"},
    )

    assert (found.street, found.town, found.region, found.postcode) == parts


def test_two_spellings_of_a_street_are_one() -> None:
    assert street_key("9 Eider Dr.") == street_key("9 EIDER DRIVE")


@pytest.mark.parametrize(
    ("text", "species", "is_sure"),
    [
        ("pressure-treated", "treated_pine", True),
        ("PT", "treated_pine", False),
        ("Wstern red cedar", "red_cedar", False),
        ("composite", "", False),
    ],
)
def test_timber_words_are_known_or_asked_about(text: str, species: str, is_sure: bool) -> None:
    found = read_timber(text)

    assert (found.species, found.is_sure) == (species, is_sure)


@pytest.mark.parametrize(
    ("text", "works"),
    [
        (
            "oiled 2x spring 21, strip 2018",
            [("recoat", "2021-21", 2), ("strip", "2018", None)],
        ),
        (
            "Strip & seal 2019; recoat 14/6/22 2 coats. Next 2027",
            [("strip", "2019", None), ("recoat", "2022-06-14", 2)],
        ),
        ("Stripped and stained May 2022", [("strip", "2022-05", None)]),
        ("stripped, brightened and sealed 2x June 2022", [("strip", "2022-06", 2)]),
        ("a stained deck, built 2015", []),
        ("needs a strip, oiled 2022", [("recoat", "2022", None)]),
        (
            "oiled 2021, strip it next, cleaned 2023",
            [("recoat", "2021", None), ("clean", "2023", None)],
        ),
        (
            "oiled and sealed 2022 and stripped 2018",
            [("recoat", "2022", None), ("strip", "2018", None)],
        ),
        ("wants a quote for a recoat 2026", []),
        ("gate code 4512, dog", []),
    ],
)
def test_work_in_notes_becomes_jobs(text: str, works: list[tuple[object, ...]]) -> None:
    found = read_past_work(text, CALENDAR)

    assert [(work.kind, work.span.edtf(), work.coats) for work in found] == works


def test_a_product_comes_apart_from_its_colour() -> None:
    found = read_finish("Tidewood oil - dark walnut (2 cts)")

    assert (found.name, found.colour) == ("Tidewood oil", "Dark walnut")


def test_nine_spellings_are_four_products() -> None:
    spellings = {
        "Tidewood Deck Oil": 9,
        "tidewood deck oil": 3,
        "Tidewod Deck Oil": 1,
        "Tide Wood Deck Oil": 1,
        "Saltmarsh Semi": 4,
        "saltmarsh semi-trans": 2,
        "Kelpline Clear Guard": 3,
        "Kelp line clear guard": 1,
        "Harbour Solid": 2,
    }

    assert [group.name for group in group_spellings(spellings)] == [
        "Tidewood Deck Oil",
        "Saltmarsh Semi",
        "Kelpline Clear Guard",
        "Harbour Solid",
    ]


@pytest.mark.parametrize(
    ("cell", "product", "is_noted"),
    [
        ("Tidewood Clear 2 coats, gate code on file", "Tidewood Clear 2 coats", True),
        ("Harbour Solid white (peeling)", "Harbour Solid white", True),
        ("Sealskin (oil-based) walnut", "Sealskin (oil-based) walnut", False),
        ("Tidewood oil - slate (2 cts)", "Tidewood oil - slate (2 cts)", False),
        ("Sealskin Tint, two-tone", "Sealskin Tint, two-tone", False),
        ("strip 2019 then recoats", "", True),
        ("never did it - quote only", "", True),
    ],
)
def test_what_a_product_cell_says_beside_the_product_is_a_note(
    cell: str, product: str, is_noted: bool
) -> None:
    found = split_product_cell(cell, CALENDAR)

    assert found == (product, cell if is_noted else "")
