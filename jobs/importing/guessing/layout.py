"""Where the header of a sheet is, what lies above it, and which lines are headings of groups."""

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, islice

from jobs.importing.cells import month_numbers
from jobs.importing.files import CALENDAR_HEADER, ListLine, RawSheet
from jobs.importing.guessing.calendar_entries import lay_out_calendar
from jobs.importing.guessing.free_lines import are_free_lines, lay_out_free_lines
from jobs.importing.guessing.names import head_score, name_score
from jobs.importing.guessing.numbered_heads import labelled_cells, labelled_columns, plain_heads
from jobs.importing.guessing.sheet_layout import SheetLayout, left_out
from jobs.importing.guessing.year_columns import dated_cells, named_years, years_of_header

LINES_TO_LOOK_AT = 40
HEADER_MIN_SCORE = 0.8
SURE_NAME = 0.9
TOTAL_LINE = re.compile(r"^(?:grand |sub ?)?total\b|^sum\b|^totals?\b", re.I)
YEAR_HEADING = re.compile(r"^\D{0,12}\b((?:19|20)\d{2})\b\D{0,12}$")
# “2023”, “Jobs 2024”: a sheet of the work of a year. “Clients 2025” may be anybody's.
SHEET_OF_YEAR = re.compile(
    r"(?:jobs?|work|season|travaux|saison)?[ _-]*((?:19|20)\d{2})[ _-]*(?:jobs?|work|season)?", re.I
)
GROUP_HEAD = "Heading"
CLIENT_HEAD = "Client heading"
CLIENT_FIELDS = {"client", "first_name", "last_name", "company"}
YEAR_HEAD = "Year heading"


def lay_out(sheet: RawSheet, *, is_town: Callable[[str], bool]) -> SheetLayout:
    """The header found below titles; behind the cells of each row the headings it stands under."""
    first = list(islice(sheet.lines, LINES_TO_LOOK_AT))
    if first and first[0].cells == CALENDAR_HEADER:
        return lay_out_calendar(sheet, chain(first[1:], sheet.lines))
    place = header_place(first)
    if place is None and are_free_lines(first):
        return lay_out_free_lines(sheet, chain(first, sheet.lines), is_town)
    return lay_out_table(sheet, first, place, is_town)


def lay_out_table(
    sheet: RawSheet, first: list[ListLine], place: int | None, is_town: Callable[[str], bool]
) -> SheetLayout:
    """With the header at that place of the first lines; None for none."""
    header = first[place].cells if place is not None else []
    width = max([len(header), *(len(line.cells) for line in first)], default=0)
    years = years_of_header(header)
    heads = named_years(plain_heads(header), years) + [""] * (width - len(header))
    layout = SheetLayout(heads, iter(()), sheet.remarks)
    if place:
        left_out(layout, place, "above the header")
    if place is None and first:
        layout.remarks.append("No line names the columns: they were told by what they hold.")
    rest = first[place + 1 :] if place is not None else first
    layout.beginning = rest
    layout.year_of_title = year_among(first[: place or 0])
    if of_sheet := SHEET_OF_YEAR.fullmatch(sheet.name.strip()):
        layout.year_of_title = of_sheet[1]
        layout.group_heads.add(YEAR_HEAD)
    lines: Iterator[ListLine] = chain(rest, sheet.lines)
    layout.rows = grouped_rows(layout, with_heads_told(lines, header), width, is_town)
    return layout


def with_heads_told(lines: Iterator[ListLine], header: Sequence[str]) -> Iterator[ListLine]:
    """Cells with what only the heads of their columns say: years, labels of numbers."""
    years = years_of_header(header)
    labels = labelled_columns(header)
    for line in lines:
        cells = dated_cells(line.cells, years) if years else line.cells
        yield ListLine(line.number, labelled_cells(cells, labels) if labels else cells)


def year_among(titles: Sequence[ListLine]) -> str:
    lone = [cells[0] for line in titles if len(cells := [c for c in line.cells if c]) == 1]
    years = [found[1] for text in lone if (found := YEAR_HEADING.match(text))]
    return years[0] if len(years) == 1 else ""


def header_place(lines: list[ListLine]) -> int | None:
    """The line most of whose cells are names of columns; None if no line has two of them."""
    scored = [(header_score(line), -place) for place, line in enumerate(lines)]
    (names, share), back = max(scored, default=((0, 0.0), 0))
    return -back if names >= 2 and share >= 0.5 else None


def header_score(line: ListLine) -> tuple[int, float]:
    """How many different cells name a column, and which share of the filled ones that is."""
    cells = {cell for cell in plain_heads(line.cells) if cell}
    years = set(years_of_header(line.cells).values())
    named = sum(
        len(cell) <= 40 and (cell in years or head_score(cell) >= HEADER_MIN_SCORE)
        for cell in cells
    )
    return named, named / max(1, len(cells))


def grouped_rows(
    layout: SheetLayout, lines: Iterator[ListLine], width: int, is_town: Callable[[str], bool]
) -> Iterator[ListLine]:
    """Data rows; headings are carried down to the rows below them."""
    headings = Headings(layout, year=layout.year_of_title)
    of_clients = columns_of_headings(layout.header, layout.beginning)
    skipped = 0
    last = 0
    for line in lines:
        has_gap = line.number > last + 1
        last = line.number
        padded = line.cells + [""] * (width - len(line.cells))
        if is_no_data(padded, layout.header):
            skipped += 1
            continue
        if client := heading_of_client(padded, of_clients, is_town):
            headings.take_client(client)
        elif heading := heading_of(line.cells, width, has_gap=has_gap, is_town=is_town):
            headings.take(heading)
        else:
            yield ListLine(line.number, [*padded[:width], *headings.cells])
    if skipped:
        left_out(layout, skipped, "with totals or a second header")


@dataclass
class Headings:
    """What the rows that come next stand under."""

    layout: SheetLayout
    group: str = ""
    year: str = ""
    client: str = ""

    @property
    def cells(self) -> list[str]:
        return [self.group, self.year, self.client]

    def take_client(self, heading: str) -> None:
        self.client = heading
        self.layout.group_heads.add(CLIENT_HEAD)

    def take(self, heading: str) -> None:
        found = YEAR_HEADING.match(heading)
        if found:
            self.year = f"{month_among(heading)} {found[1]}".strip()
        elif month_among(heading):
            year = re.search(r"\d{4}$", self.year)
            self.year = f"{heading} {year[0]}" if year else ""
        else:
            is_loud = heading.isupper() and len(heading) > 3
            self.group = heading.title() if is_loud else heading
        is_time = found or month_among(heading)
        self.layout.group_heads.add(YEAR_HEAD if is_time else GROUP_HEAD)


def month_among(heading: str) -> str:
    """The month that a heading of times names; nothing if it names none."""
    words = re.findall(r"[^\W\d_]+", heading)
    return next(filter(is_month, words), "") if len(words) <= 2 else ""


def is_month(text: str) -> bool:
    return text.casefold().rstrip(".") in month_numbers()


def is_no_data(cells: list[str], header: list[str]) -> bool:
    """A line of totals, or the header once more."""
    if TOTAL_LINE.match(next(filter(None, cells))):
        return True
    return any(header) and [c.casefold() for c in cells] == [c.casefold() for c in header]


def columns_of_headings(header: list[str], lines: list[ListLine]) -> set[int]:
    """Columns in which a lone cell is no row but the client of the rows below, as accounts are
    printed: one of dates, or one without a head in which no row has anything. None where a column
    names the clients."""
    if any(name_score(head, each) >= SURE_NAME for head in header for each in CLIENT_FIELDS):
        return set()
    rows = [line.cells for line in lines if sum(map(bool, line.cells)) > 2]
    return {
        at
        for at, head in enumerate(header)
        if (name_score(head, "done") >= SURE_NAME if head else not any(map(bool, column(rows, at))))
    }


def column(rows: list[list[str]], at: int) -> list[str]:
    return [row[at] for row in rows if at < len(row)]


def heading_of_client(cells: list[str], columns: set[int], is_town: Callable[[str], bool]) -> str:
    filled = [(at, cell) for at, cell in enumerate(cells) if cell]
    if len(filled) != 1 or filled[0][0] not in columns:
        return ""
    text = filled[0][1].strip(" :-=*")
    is_named = re.search(r"[^\W\d_]{2}", text) and not re.search(r"\d[-/.]\d|\b\d{4}\b", text)
    return text if is_named and not is_town(text.partition(",")[0]) else ""


def heading_of(
    cells: list[str], width: int, *, has_gap: bool, is_town: Callable[[str], bool]
) -> str:
    """The words of a line that only heads the lines below it; nothing for a row of data."""
    filled = [cell for cell in cells if cell]
    if len(filled) != 1 or width < 3:
        return ""
    text = filled[0].strip(" :-=*")
    if YEAR_HEADING.match(text) or is_month(text) or is_town(text.partition(",")[0]):
        return text
    is_loud = filled[0].endswith(":") or (text.isupper() and len(text) > 3)
    is_short = len(text.split()) <= 3 and not any(map(str.isdigit, text)) and "@" not in text
    return text if is_short and (is_loud or has_gap) else ""
