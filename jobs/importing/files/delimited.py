"""Cells between commas, semicolons, tabs or bars (RFC 4180 and what people make of it)."""

import csv
import io
import re
from collections import Counter
from collections.abc import Iterator
from itertools import islice

from jobs.importing.files.lines import ListError

DELIMITERS = ",;\t|"
SAMPLE_LINES = 60
MAX_QUOTED_LINES = 60  # of one record: beyond, the quote that opened it was a stray one
MAX_QUOTED_LENGTH = 60_000
UTF16_MARKS = (b"\xff\xfe", b"\xfe\xff")


def delimited_lines(content: bytes, remarks: list[str]) -> Iterator[tuple[int, list[str]]]:
    """(number, cells) of each record; the number is that of its first line in the file."""
    lines = list(islice(decoded_lines(content, []), SAMPLE_LINES))
    if any("\x00" in line for line in lines):
        raise ListError("The file is not a text file. Save the list as CSV, XLSX or ODS.")
    delimiter = find_delimiter(lines)
    has_mark = bool(lines) and lines[0].lower().startswith("sep=")
    width = usual_width(lines, delimiter)
    numbered = enumerate(decoded_lines(content, remarks), start=1)
    if has_mark:
        next(numbered)
    yield from records(numbered, delimiter, width, remarks)


def decoded_lines(content: bytes, remarks: list[str]) -> Iterator[str]:
    """Line by line, as files that grew over years mix encodings: UTF-8 where it is valid, else
    the old Western encoding of spreadsheets."""
    if content[:2] in UTF16_MARKS:
        try:
            yield from content.decode("utf-16").splitlines()
        except UnicodeDecodeError as error:
            raise ListError("The file is not a text file. Save the list as CSV or XLSX.") from error
        return
    content = content.removeprefix(b"\xef\xbb\xbf")
    if b"\n" not in content:
        content = content.replace(b"\r", b"\n")
    old = 0
    for line in io.BytesIO(content):
        bare = line.rstrip(b"\r\n")
        try:
            yield bare.decode("utf-8")
        except UnicodeDecodeError:
            old += 1
            yield bare.decode("cp1252", errors="replace")
    if old:
        remarks.append(f"{old:,} lines were read in an old encoding (Windows-1252).")


def find_delimiter(lines: list[str]) -> str:
    """What stands equally often in most lines; a comma if nothing does."""
    best = (0, ",")
    for delimiter in DELIMITERS:
        counts = Counter(line.count(delimiter) for line in lines if line.strip())
        counts.pop(0, None)
        if counts:
            usual, times = counts.most_common(1)[0]
            best = max(best, (times * min(usual, 8) + sum(counts.values()), delimiter))
    return best[1]


def usual_width(lines: list[str], delimiter: str) -> int:
    """How many cells most records have."""
    widths = Counter(
        len(split_record(line, delimiter))
        for line in lines
        if line.strip() and not is_open(line, delimiter)
    )
    return max(widths, key=lambda width: (widths[width], width), default=0)


def records(
    numbered: Iterator[tuple[int, str]], delimiter: str, width: int, remarks: list[str]
) -> Iterator[tuple[int, list[str]]]:
    """Records of one or several lines. A quote that swallows its neighbours is taken as a letter:
    they come out as lines of their own again."""
    stray = 0
    waiting: list[tuple[int, str]] = []
    while (first := waiting.pop(0) if waiting else next(numbered, None)) is not None:
        number, text = first
        if not is_open(text, delimiter):
            yield number, split_record(text, delimiter)
            continue
        whole, taken = closed_record(text, waiting, numbered, delimiter)
        cells = split_record(whole, delimiter) if whole else []
        is_stray = not cells or (len(cells) != width and len(plain_split(text, delimiter)) == width)
        if is_stray:
            stray += 1
            cells = plain_split(text, delimiter)
        else:
            del waiting[:taken]
        yield number, cells
    if stray:
        remarks.append(f"{stray:,} stray quotation marks were taken as letters.")


def closed_record(
    text: str, waiting: list[tuple[int, str]], source: Iterator[tuple[int, str]], delimiter: str
) -> tuple[str, int]:
    """The record that `text` opens and how many lines more it takes; nothing if it never ends."""
    whole = text
    taken = 0
    while taken < MAX_QUOTED_LINES and len(whole) < MAX_QUOTED_LENGTH:
        if taken == len(waiting):
            more = next(source, None)
            if more is None:
                return "", 0
            waiting.append(more)
        whole += "\n" + waiting[taken][1]
        taken += 1
        if not is_open(whole, delimiter):
            return whole, taken
    return "", 0


def is_open(text: str, delimiter: str) -> bool:
    """Whether the text ends inside a quoted cell."""
    if '"' not in text:
        return False
    mark = re.escape(delimiter)
    rest = re.sub(rf'(?:^|(?<={mark}))"(?:[^"]|"")*"(?={mark}|\s*$)', "", text)
    return bool(re.search(rf'(?:^|{mark})"', rest))


def split_record(text: str, delimiter: str) -> list[str]:
    if '"' not in text:
        return text.split(delimiter)
    if is_open(text, delimiter):
        return plain_split(text, delimiter)
    try:
        return next(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter), [])
    except csv.Error:
        return plain_split(text, delimiter)


def plain_split(text: str, delimiter: str) -> list[str]:
    """Every delimiter parts, whatever the quotation marks say."""
    return [cell.strip().strip('"') for cell in text.split(delimiter)]
