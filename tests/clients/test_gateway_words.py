"""What a gateway's answers mean, and what it is told: data in, outcome out.
No sockets, no database."""

import pytest

from clients.messaging.channels import gateway_protocol as gateway_protocol
from clients.messaging.channels.transport import SendResult
from clients.messaging.models import TextGateway


# The meaning of each status is RFC 9110, 15 (408, 409, 425, 429, 503: 15.5.9,
# 15.5.10, 15.6.4; RFC 8470, 5.2; RFC 6585, 4).
@pytest.mark.parametrize(
    ("status", "result"),
    [
        (200, "ACCEPTED"),
        (201, "ACCEPTED"),
        (202, "ACCEPTED"),
        (400, "REFUSED"),
        (404, "REFUSED"),
        (422, "REFUSED"),
        (401, "NOT_NOW"),
        (402, "NOT_NOW"),
        (408, "NOT_NOW"),
        (425, "NOT_NOW"),
        (429, "NOT_NOW"),
        (503, "NOT_NOW"),
        (301, "NOT_NOW"),
        (308, "NOT_NOW"),
        (303, "UNKNOWN"),
        (409, "UNKNOWN"),
        (500, "UNKNOWN"),
        (502, "UNKNOWN"),
        (504, "UNKNOWN"),
    ],
)
def test_each_status_has_one_meaning(status: int, result: str) -> None:
    assert (
        gateway_protocol.answer_outcome(TextGateway(), status, b"{}").result is SendResult[result]
    )


@pytest.mark.parametrize(
    ("content", "result"),
    [
        (b'{"error": null, "id": 7}', "ACCEPTED"),
        (b'{"error": "0"}', "ACCEPTED"),
        (b"not json at all", "ACCEPTED"),
        (b'{"error": "bad_number"}', "REFUSED"),
        (b'{"error": "busy"}', "NOT_NOW"),
        (b'{"error": "something new"}', "UNKNOWN"),
        (b"[" * 50_000, "ACCEPTED"),
    ],
)
def test_an_error_inside_a_200_is_heard(content: bytes, result: str) -> None:
    row = TextGateway(refusals={"bad_number": "for_good", "busy": "for_now"})

    assert gateway_protocol.answer_outcome(row, 200, content).result is SendResult[result]


def test_data_describes_the_request() -> None:
    row = TextGateway(
        template={"messages": [{"to": ["{to}"], "body": "{text}"}], "ref": "x-{reference}"}
    )
    values = {"to": "+19025550101", "text": "{to} & {reference}", "reference": "abc", "from": ""}

    content, media_type = gateway_protocol.request_body(row, values)
    form = gateway_protocol.request_body(
        TextGateway(body="form", template={"To": "{to}", "Body": "{text}"}), values
    )

    assert gateway_protocol.parse_body(content) == {
        "messages": [{"to": ["+19025550101"], "body": "{to} & {reference}"}],
        "ref": "x-abc",
    }
    assert media_type.startswith("application/json")
    # WHATWG URL, application/x-www-form-urlencoded: percent-encoding of + { } &, a space becomes +
    assert form[0] == b"To=%2B19025550101&Body=%7Bto%7D+%26+%7Breference%7D"
    assert gateway_protocol.value_at_path({"messages": [{"id": 12}]}, "messages.0.id") == "12"
    assert gateway_protocol.value_at_path({"messages": []}, "messages.0.id") == ""
