"""The number on a can that says which product is in it: a Global Trade Item Number (GS1 General
Specifications; ISO/IEC 15420 draws it as EAN or UPC bars). It is kept with 14 digits."""

from stdnum import ean
from stdnum.exceptions import ValidationError

GTIN_DIGITS = 14
SHORTER = (8, 12, 13)  # how many digits stand on a can, where there are fewer


class CanCodeError(ValueError):
    """These digits are no code of a can; the message says what to do."""


def read_can_code(text: str) -> str:
    """With 14 digits, from 8, 12, 13 or 14; blanks and hyphens between them do not matter."""
    try:
        return str(ean.validate(text)).zfill(GTIN_DIGITS)
    except ValidationError as error:
        raise CanCodeError(
            f"“{text[:40]}” is no code of a can. Write the 8, 12, 13 or 14 digits under the bars."
        ) from error


def printed_can_code(gtin: str) -> str:
    """As it stands on the can, without the zeros in front."""
    digits = gtin.lstrip("0")
    return next((digits.zfill(length) for length in SHORTER if len(digits) <= length), gtin)
