"""What the log says, and what it must not."""

import json
import logging
import sys
from datetime import UTC, datetime
from urllib.parse import quote

import pytest

from restorer.logs import JsonFormatter, TextFormatter

SECRET = "sEcReT-4711_x"
ADDRESSES = [
    f"/o/{SECRET}/",
    f"/o/{SECRET}/offer.pdf",
    f"/u/{SECRET}/",
    f"/p/{SECRET}/look/3/",
    f"/calendar/{SECRET}.ics",
    f"/hooks/text/{SECRET}/status",
    f"https://decks.example.com/o/{SECRET}/?x=1",
]


def record(message: str, *args: object, fault: bool = False) -> logging.LogRecord:
    info = None
    if fault:
        try:
            raise ValueError(message % args)
        except ValueError:
            info = sys.exc_info()
    return logging.LogRecord("django.request", logging.ERROR, __file__, 1, message, args, info)


@pytest.mark.parametrize("address", ADDRESSES)
@pytest.mark.parametrize("formatter", [TextFormatter(), JsonFormatter()])
def test_no_line_holds_what_opens_an_offer_a_page_or_a_hook(
    address: str, formatter: logging.Formatter
) -> None:
    line = formatter.format(record("Internal Server Error: %s", address, fault=True))

    assert SECRET not in line
    assert address[: address.index(SECRET)] in line
    assert quote(SECRET) == SECRET


@pytest.mark.parametrize("address", ["/offers/12/", "/clients/34/", "/due/2026-12/", "/photos/5/"])
def test_other_addresses_are_said_whole(address: str) -> None:
    assert TextFormatter().format(record("Not Found: %s", address)).endswith(address)


def test_a_line_of_json_is_one_object_with_its_moment_in_utc() -> None:
    made = record("Mail is down: %s", "“no”", fault=True)
    line = JsonFormatter().format(made)

    told = json.loads(line)
    assert "\n" not in line
    assert (told["level"], told["logger"]) == ("ERROR", "django.request")
    assert told["message"] == "Mail is down: “no”"
    assert "ValueError" in told["traceback"]
    moment = datetime.fromisoformat(told["time"])
    assert abs(moment - datetime.fromtimestamp(made.created, UTC)).total_seconds() < 0.001
