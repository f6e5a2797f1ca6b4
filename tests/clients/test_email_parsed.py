"""What is written for the wire, read back by a parser of its own (`email`, policy SMTP)."""

from datetime import UTC, datetime
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import SMTP

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clients.messaging.channels.email import SenderIdentity, compose_email
from clients.messaging.models import Message
from clients.models import Business

NOW = datetime(2026, 11, 25, 15, tzinfo=UTC)
# What a row may hold: no surrogates, no nought (clients/notation/storable.py).
LETTERS = st.characters(exclude_categories=["Cs"], exclude_characters="\x00")
ONE_LINE = st.text(st.characters(exclude_categories=["Cc", "Cs", "Zl", "Zp"]), max_size=200)
TEXT = st.text(st.one_of(LETTERS, st.sampled_from("\n .=ü")), max_size=1_500)


def parsed(name: str, subject: str, text: str, html: str) -> EmailMessage:
    business = Business.objects.get()
    business.name = name
    row = Message(
        message_id="<one@example.com>",
        address="client@example.org",
        subject=subject,
        text=text,
        html=html,
    )
    row.has_files = False  # type: ignore[attr-defined]
    raw = compose_email(SenderIdentity.for_business(business), row, now=NOW)
    assert max(map(len, raw.split(b"\r\n"))) <= 998  # RFC 5322, 2.1.1
    assert b"\n" not in raw.replace(b"\r\n", b"")
    found = message_from_bytes(raw, policy=SMTP)
    assert isinstance(found, EmailMessage)
    return found


def one_line(words: str) -> str:
    return " ".join(words.split())


def lines(words: str) -> str:
    return words.replace("\r\n", "\n").replace("\r", "\n").rstrip("\n")


@pytest.mark.django_db
@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(name=ONE_LINE.filter(str.strip), subject=ONE_LINE, text=TEXT, html=TEXT)
def test_what_arrives_is_what_was_meant(
    business: Business, name: str, subject: str, text: str, html: str
) -> None:
    message = parsed(name, subject, text, html)

    assert one_line(message["Subject"]) == one_line(subject)
    (sender,) = message["From"].addresses
    # the parser leaves the space between two encoded words of a name; RFC 2047, 6.2 takes it out
    assert "".join(sender.display_name.split()) == "".join(name.split())
    assert sender.addr_spec == business.sender
    assert not [each for each in message.values() if getattr(each, "defects", ())]
    plain = message.get_body(("plain",))
    assert plain is not None
    assert lines(plain.get_content()) == lines(text)
    if html:
        rich = message.get_body(("html",))
        assert rich is not None
        assert lines(rich.get_content()) == lines(html)
