"""Names, telephone numbers and e-mail addresses, however many stand in one cell."""

import re
from dataclasses import dataclass
from functools import lru_cache

from clients.notation import EmailError, parse_email_address, phones
from jobs.importing.cells.problems import UnreadableCell

ROWS_REMEMBERED = 2_000  # a client has several rows, mostly near each other
EMAIL_LIKE = re.compile(r"[^\s<>,;()\[\]\"|/]+@[^\s<>,;()\[\]\"|/]+")
# digits with what people put between them; an extension may follow
PHONE_LIKE = re.compile(
    r"\+?\(?\d[\d\s().\-–/\u2011]{5,}\d(?:\s*(?:x|ext\.?|extension|;ext=)\s*\d{1,7})?", re.I
)
MOBILE_WORD = re.compile(r"\b(?:c|m|cell|cells|cellular|mob|mobile|text|txt|sms)\b", re.I)
NORTH_AMERICA = {"CA", "US"}
NANP = re.compile(r"(?:\+?1[ .\-]*)?\(?([2-9]\d{2})\)?[ .\-–]*([2-9]\d{2})[ .\-–]*(\d{4})")
OTHER_PHONE_WORD = re.compile(
    r"\b(?:h|w|o|home|house|work|office|bus|business|land ?line|fax|dom|trav|travail|bureau)\b",
    re.I,
)
COMPANY_WORD = re.compile(
    r"\b(?:inc|ltd|llc|co|corp|company|inn|hotel|condo\w*|church|society|association|assn|club|"
    r"school|rentals?|properties|trust|strata|board|b&b|motel|cottages|limited|town of)\b\.?",
    re.I,
)


@dataclass(frozen=True, slots=True)
class PhoneRead:
    """A number as it was written, in E.164, and whether the cell calls it mobile."""

    written: str
    e164: str
    is_mobile: bool


@lru_cache(maxsize=ROWS_REMEMBERED)
def read_phones(
    text: str, country: str, area_code: str = "", *, of_mobiles: bool = False
) -> tuple[PhoneRead, ...]:
    """All numbers of a cell; in a column `of_mobiles` each one that no word calls another. Raises
    UnreadableCell when digits are left that are no number."""
    found = []
    at = 0
    for match in phone_pieces(text):
        beside = [
            words_after(text[match.end() : match.end() + 12]),
            re.split(r"\d|[,;/&\n]", text[at : match.start()])[-1],
        ]
        says_other = any(map(OTHER_PHONE_WORD.search, beside))
        says_mobile = any(map(MOBILE_WORD.search, beside)) or (of_mobiles and not says_other)
        at = match.end()
        found.append(one_phone(tidy_number(match[0]), country, area_code, says_mobile=says_mobile))
    if not found and re.search(r"\d", text):
        raise UnreadableCell(f"“{text}” is not a telephone number. Write it with its area code.")
    return tuple(found)


def words_after(text: str) -> str:
    """What is said of the number before: a bracket that does not close is about the next one."""
    words = re.split(r"\d|[,;/&\n]", text)[0]
    return words if ")" in words else words.partition("(")[0]


def tidy_number(written: str) -> str:
    """Without what stands between two numbers; a bracket alone goes too."""
    bare = written.strip(" -–/")
    return bare if bare.count("(") == bare.count(")") else bare.strip("() ")


def phone_pieces(text: str) -> list[re.Match[str]]:
    """Each number once, also where only a slash or blank stands between two of them."""
    pieces = list(re.finditer(rf"{NANP.pattern}(?:\s*(?:x|ext\.?|;ext=)\s*\d{{1,7}})?", text, re.I))
    return pieces or list(PHONE_LIKE.finditer(text))


def one_phone(written: str, country: str, area_code: str, *, says_mobile: bool) -> PhoneRead:
    if country in NORTH_AMERICA and (plain := NANP.fullmatch(written)):
        return PhoneRead(written, f"+1{plain[1]}{plain[2]}{plain[3]}", says_mobile)
    whole = written
    if needs_area_code(written, country):
        if not area_code:
            raise UnreadableCell(f"“{written}” lacks the area code. Write it with its area code.")
        whole = f"{area_code}-{written}"
    try:
        phone = phones.parse_phone(whole, country)
    except phones.PhoneError as error:
        raise UnreadableCell(str(error)) from error
    return PhoneRead(whole, phone.e164, says_mobile or phone.is_mobile)


def needs_area_code(text: str, country: str) -> bool:
    """Seven digits in North America."""
    digits = re.sub(r"(?:x|ext|;ext=).*$", "", text, flags=re.I)
    return country in NORTH_AMERICA and sum(map(str.isdigit, digits)) == 7


def area_code_of(text: str) -> str:
    """The area code that a North American number is written with; nothing if none."""
    found = NANP.search(text)
    return found[1] if found else ""


@lru_cache(maxsize=ROWS_REMEMBERED)
def read_emails(text: str) -> tuple[str, ...]:
    """All addresses of a cell. Raises UnreadableCell for something with an @ that is none."""
    found: list[str] = []
    for written in EMAIL_LIKE.findall(text.replace("mailto:", "")):
        try:
            address = parse_email_address(written.strip(".'"))
        except EmailError as error:
            raise UnreadableCell(str(error)) from error
        if address.lower() not in (each.lower() for each in found):
            found.append(address)
    if not found and "@" in text:
        raise UnreadableCell(f"“{text}” is not an e-mail address. Write it like name@example.com.")
    return tuple(found)


@lru_cache(maxsize=ROWS_REMEMBERED)
def read_name(text: str) -> str:
    """“Saltonby, Ottilie” as a letter greets her: “Ottilie Saltonby”."""
    text = " ".join(text.split()).strip(" ,;-")
    last, comma, first = text.partition(", ")
    is_turned = (
        comma
        and "," not in first
        and not any(map(str.isdigit, text))
        and len(last.split()) <= 3
        and len(first.split()) <= 4
        and not COMPANY_WORD.search(text)
    )
    return f"{first} {last}" if is_turned else text
