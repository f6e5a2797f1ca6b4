"""System checks: each bad configuration is named with what to change; a good one is silent."""

import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.core import checks
from django.test import override_settings

from tests.factories import BusinessFactory

ROOT = Path(__file__).resolve().parents[2]
COMES_WITH_TIME = "restorer.W012"  # of time zones a year old; tests/restorer/test_time_zones.py
GOOD = {"BASE_URL": "https://decks.example.com", "SECRET_KEY": "abcdefgh" * 8, "DEBUG": False}


def found(**kwargs: Any) -> list[str]:
    ours = [
        message
        for message in checks.run_checks(**kwargs)
        if str(message.id).startswith("restorer.")
    ]
    assert all(message.hint for message in ours)
    return [str(message.id) for message in ours if message.id != COMES_WITH_TIME]


@override_settings(**GOOD)
def test_a_good_configuration_is_silent() -> None:
    assert found(include_deployment_checks=True) == []


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"BASE_URL": "decks.example.com"}, "restorer.E001"),
        ({"BASE_URL": "ftp://decks.example.com"}, "restorer.E001"),
        ({"BASE_URL": "https://"}, "restorer.E001"),
        ({"BASE_URL": "https://[half"}, "restorer.E001"),
        ({"BASE_URL": "https://example.com/decks"}, "restorer.E002"),
        ({"BASE_URL": "http://decks.example.com"}, "restorer.W001"),
        ({"DEBUG": True}, "restorer.W002"),
        ({"SECRET_KEY": "short"}, "restorer.W003"),
        ({"SECRET_KEY": "a" * 64}, "restorer.W003"),
        ({"EMAIL_USE_TLS": True, "EMAIL_USE_SSL": True}, "restorer.E003"),
        ({"EMAIL_PORT": 465}, "restorer.W004"),
        ({"EMAIL_HOST_USER": "office"}, "restorer.W005"),
        (
            {"EMAIL_HOST": "mail.example.com", "EMAIL_HOST_USER": "u", "EMAIL_HOST_PASSWORD": "p"},
            "restorer.W006",
        ),
        ({"EMAIL_TIMEOUT": 0}, "restorer.W007"),
        ({"EMAIL_TIMEOUT": 3600}, "restorer.W007"),
    ],
)
def test_a_bad_one_is_named(changes: dict[str, Any], expected: str) -> None:
    with override_settings(**{**GOOD, **changes}):
        assert found(include_deployment_checks=True) == [expected]


def test_this_machine_may_do_without_encryption() -> None:
    with override_settings(**{**GOOD, "BASE_URL": "http://127.0.0.1:8000"}):
        assert found(include_deployment_checks=True) == []


@pytest.mark.django_db
def test_a_business_without_a_sender_is_named_when_the_database_is_looked_at() -> None:
    assert found(databases=["default"]) == []

    business = BusinessFactory(email="", sender_email="")
    assert found(databases=["default"]) == ["restorer.W008"]

    business.email = "office@example.com"
    business.save()
    assert found(databases=["default"]) == []


@pytest.mark.slow
def test_check_deploy_is_silent_when_only_the_address_is_set(tmp_path: Path) -> None:
    environment = {
        **os.environ,
        "BASE_URL": "https://decks.example.com",
        "RESTORER_VAR": str(tmp_path),
        "DATABASE_URL": "postgresql:///nobody?host=/nowhere",
    }
    for name in (
        "SECRET_KEY",
        "ALLOWED_HOSTS",
        "DEBUG",
        "DJANGO_SETTINGS_MODULE",
        "DJANGO_ALLOW_ASYNC_UNSAFE",
    ):
        environment.pop(name, None)

    run = subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy"],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )

    assert run.returncode == 0, run.stderr
    assert set(re.findall(r"\((\w+\.\w\d+)\)", run.stderr)) <= {COMES_WITH_TIME}


@override_settings(**GOOD, OUTBOX_BACKEND="anymail.backends.nowhere.EmailBackend")
def test_a_mail_backend_that_is_not_installed_is_named() -> None:
    assert "restorer.E005" in found()
