"""Reading e-mail addresses: one field holds one address, and nothing that could bend a header."""

import re

from django.core.exceptions import ValidationError
from django.core.validators import EmailValidator
from django.utils.encoding import punycode

INVISIBLE_CHARACTERS = re.compile(
    r"[\x00-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff]"
)
validate_email = EmailValidator()
SEVERAL_ADDRESSES = re.compile(r"[,;\s]\S*@|@.*@")


class EmailError(ValueError):
    """The text is not one e-mail address; the message says why and what to do."""


def parse_email_address(text: str) -> str:
    """The address without the spaces around it;
    refuses lists, names in front and hidden characters."""
    text = text.strip(" \t\r\n\u00a0")
    if INVISIBLE_CHARACTERS.search(text):
        raise EmailError(
            "The e-mail address holds a line break or a hidden character. Type it again."
        )
    if re.search(r"[<>\"()\[\]\\]", text):
        raise EmailError(
            "Write the bare e-mail address, such as name@example.com, without a name or brackets."
        )
    if SEVERAL_ADDRESSES.search(text):
        raise EmailError(
            f"“{text[:80]}” is more than one e-mail address. Write one here, the other in a row of"
            " its own."
        )
    if not is_email_address(text):
        raise EmailError(f"“{text[:80]}” is not an e-mail address. Write it like name@example.com.")
    return text


def is_email_address(text: str) -> bool:
    """Django's rules, with letters of any alphabet allowed before the @ (RFC 6531) and in the
    domain (RFC 5891)."""
    local, _, domain = text.rpartition("@")
    plain = "".join(letter if letter.isascii() else "x" for letter in local)
    try:
        validate_email(f"{plain}@{punycode(domain)}")
    except (ValidationError, UnicodeError):
        return False
    return len(text) <= 254
