"""Files that a list may come in: text, spreadsheets, address cards."""

import io
from zipfile import ZIP_DEFLATED, ZipFile

import pytest
from openpyxl import Workbook

from jobs.importing.files import MAX_LIST_BYTES, ListError, read_pasted_cells, read_sheets


def cells(content: bytes) -> list[list[str]]:
    return [line.cells for sheet in read_sheets(content) for line in sheet.lines]


# RFC 4180, section 2, rules 1 to 7, each with its own example.
@pytest.mark.parametrize(
    ("rule", "text", "expected"),
    [
        (1, "aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        (2, "aaa,bbb,ccc\r\nzzz,yyy,xxx", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        (
            3,
            "field_name,field_name,field_name\r\naaa,bbb,ccc\r\nzzz,yyy,xxx\r\n",
            [["field_name"] * 3, ["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]],
        ),
        (5, '"aaa","bbb","ccc"\r\nzzz,yyy,xxx', [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
        (
            6,
            '"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx',
            [["aaa", "b\nbb", "ccc"], ["zzz", "yyy", "xxx"]],
        ),
        (7, '"aaa","b""bb","ccc"', [["aaa", 'b"bb', "ccc"]]),
    ],
)
def test_text_between_commas_is_read_as_the_standard_says(
    rule: int, text: str, expected: list[list[str]]
) -> None:
    assert cells(text.encode()) == expected


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_any_delimiter_is_found(delimiter: str) -> None:
    rows = [["Name", "Town", "Notes"], ["Ottilie", "Chester", "gate, dog"], ["Bram", "", "x"]]
    text = "\n".join(
        delimiter.join(f'"{cell}"' if delimiter in cell else cell for cell in row) for row in rows
    )

    assert cells(text.encode()) == rows


def test_encodings_may_change_from_line_to_line() -> None:
    content = "Name,Town\nZoë,Chester\n".encode() + "Renée,Lunenburg\n".encode("cp1252")
    sheet = next(iter(read_sheets(content)))

    assert [line.cells[0] for line in sheet.lines] == ["Name", "Zoë", "Renée"]
    assert sheet.remarks == ["1 lines were read in an old encoding (Windows-1252)."]


def test_a_stray_quotation_mark_swallows_no_neighbours() -> None:
    rows = "".join(f"Client {n},Chester,x\n" for n in range(40_000))
    content = f'Name,Town,Notes\n"Ottilie,Chester,12" boards\n{rows}'.encode()
    sheet = next(iter(read_sheets(content)))
    found = list(sheet.lines)

    assert len(found) == 40_002
    assert found[1].cells == ["Ottilie", "Chester", '12" boards']
    assert sheet.remarks == ["1 stray quotation marks were taken as letters."]


def test_empty_lines_are_left_out_and_numbers_are_those_of_the_file() -> None:
    sheet = next(iter(read_sheets(b"Name,Town\n\n,,\nBram,Chester\n")))

    assert [(line.number, line.cells) for line in sheet.lines] == [
        (1, ["Name", "Town"]),
        (4, ["Bram", "Chester"]),
    ]


def test_all_sheets_are_read_and_merged_cells_filled_down() -> None:
    book = Workbook()
    for row in (["Name", "Deck"], ["Bram", "back"], ["", "front"]):
        book.active.append(row)
    book.active.merge_cells("A2:A3")
    book.create_sheet("Old").append(["Name", "Year"])
    book.create_sheet("Empty")
    file = io.BytesIO()
    book.save(file)
    found = {
        sheet.name: [line.cells for line in sheet.lines] for sheet in read_sheets(file.getvalue())
    }

    assert found == {
        "Sheet": [["Name", "Deck"], ["Bram", "back"], ["Bram", "front"]],
        "Old": [["Name", "Year"]],
    }


def test_a_file_that_unpacks_to_hundreds_of_megabytes_is_refused() -> None:
    file = io.BytesIO()
    with ZipFile(file, "w", ZIP_DEFLATED) as archive:
        for sheet in range(3):
            archive.writestr(f"xl/worksheets/sheet{sheet}.xml", b"0" * 90_000_000)

    assert len(file.getvalue()) < 1_000_000
    with pytest.raises(ListError, match="unpacks to more than 200 MB"):
        list(read_sheets(file.getvalue()))


# RFC 6350, section 8 (vCard 4.0), with an invented person in the place of its author.
CARD_4 = """BEGIN:VCARD
VERSION:4.0
FN:Ottilie Saltonby
N:Saltonby;Ottilie;;;ing. jr,M.Sc.
BDAY:--0203
GENDER:F
LANG;TYPE=work;PREF=1:fr
ORG;TYPE=work:Driftline
ADR;TYPE=work:;Suite D2-630;17 Gannet Row;
 Mahone Bay;NS;B0J 2E0;Canada
TEL;VALUE=uri;TYPE="work,voice";PREF=1:tel:+1-902-555-0154;ext=102
TEL;VALUE=uri;TYPE="work,cell,voice,video,text":tel:+1-902-555-0101
EMAIL;TYPE=work:ottilie@example.org
TZ:-0500
END:VCARD
"""
# RFC 2426, section 7 (vCard 3.0), again with another person.
CARD_3 = """BEGIN:vCard
VERSION:3.0
FN:Halvard Quill
ORG:Driftline
ADR;TYPE=WORK,POSTAL,PARCEL:;;9 Eider Drive
 ;Lunenburg;NS;B0J 2C0;Canada
TEL;TYPE=VOICE,MSG,WORK:+1-902-555-0111
TEL;TYPE=FAX,WORK:+1-902-555-0112
EMAIL;TYPE=INTERNET,PREF:halvard@example.com
EMAIL;TYPE=INTERNET:h.quill@example.com
END:vCard
"""


@pytest.mark.parametrize(
    ("card", "expected"),
    [
        (
            CARD_4,
            [
                *("Ottilie Saltonby", "Driftline"),
                *("+1-902-555-0154 ext 102; +1-902-555-0101 cell", "ottilie@example.org"),
                *("17 Gannet Row", "Mahone Bay", "NS", "B0J 2E0", "Canada"),
            ],
        ),
        (
            CARD_3,
            [
                *("Halvard Quill", "Driftline", "+1-902-555-0111; +1-902-555-0112"),
                "halvard@example.com; h.quill@example.com",
                *("9 Eider Drive", "Lunenburg", "NS", "B0J 2C0", "Canada"),
            ],
        ),
    ],
)
def test_address_cards_are_read_as_the_standards_write_them(card: str, expected: list[str]) -> None:
    assert cells(card.encode())[1] == expected


def test_a_card_that_breaks_the_rules_keeps_its_name() -> None:
    sheet = next(iter(read_sheets((CARD_4.replace("BDAY", "B DAY;=") + CARD_3).encode())))
    found = [line.cells[0] for line in sheet.lines]

    assert found == ["Name", "Ottilie Saltonby", "Halvard Quill"]
    assert sheet.remarks == ["Card 1 breaks the rules of vCard; its name alone was read."]


def test_pasted_cells_are_split_at_tabs() -> None:
    sheet = next(iter(read_pasted_cells("Name\tTown\nBram\tChester")))

    assert [line.cells for line in sheet.lines] == [["Name", "Town"], ["Bram", "Chester"]]


def test_a_file_larger_than_the_limit_is_refused_before_it_is_read() -> None:
    with pytest.raises(ListError, match=r"larger than 50 MB\. Split it"):
        next(read_sheets(b"Name,Town\n" + b"x" * MAX_LIST_BYTES))
