"""The mail catcher against Python's own SMTP client."""

import email
import smtplib
from collections.abc import Iterator
from email.message import EmailMessage
from email.policy import default
from pathlib import Path

import pytest
from aiosmtpd.controller import Controller
from pytest_django import Settings

from restorer.local import mail_catcher, processes

pytestmark = pytest.mark.smtp


@pytest.fixture
def running(settings: Settings, tmp_path: Path) -> Iterator[Controller]:
    settings.VAR_DIR = tmp_path
    controller = mail_catcher.new_mail_catcher(processes.free_port(2525))
    controller.start()
    yield controller
    controller.stop()


def message(subject: str) -> EmailMessage:
    written = EmailMessage()
    written["From"] = "office@example.com"
    written["To"] = "ines@example.org"
    written["Subject"] = subject
    written.set_content("Your deck is due — in May.\n.\nA line with a lone dot above.\n")
    return written


def test_a_message_is_kept_as_it_was_sent_newest_first(running: Controller) -> None:
    with smtplib.SMTP("127.0.0.1", running.port) as client:
        client.send_message(message("First"), from_addr="bounce+1@example.com")
        client.send_message(message("Second"), from_addr="bounce+2@example.com")
    newest, oldest = (
        email.message_from_bytes(path.read_bytes(), policy=default)
        for path in mail_catcher.caught_mail()
    )
    assert (newest["Subject"], oldest["Subject"]) == ("Second", "First")
    assert newest["Return-Path"] == "<bounce+2@example.com>"
    assert newest["Delivered-To"] == "ines@example.org"
    assert newest.get_content().splitlines() == message("Second").get_content().splitlines()


def test_an_address_cannot_name_a_file_elsewhere(running: Controller, tmp_path: Path) -> None:
    with smtplib.SMTP("127.0.0.1", running.port) as client:
        client.sendmail("a@example.com", ['"../../x/"@example.com'], "Subject: no\r\n\r\nno")
    assert [path.parent for path in tmp_path.rglob("*.eml")] == [mail_catcher.mail_dir()]


def test_kept_mail_is_closed_to_other_users_of_the_machine(running: Controller) -> None:
    assert mail_catcher.mail_dir().stat().st_mode & 0o077 == 0
