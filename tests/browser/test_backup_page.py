"""The page of backups in a real browser: it says by itself when one is done."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page
from pytest_django import Settings

from restorer.backup.turn import backup_turn

pytestmark = pytest.mark.slow
Open = Callable[..., Page]


def test_the_page_says_by_itself_when_a_backup_is_done(
    open_as: Open, people: Any, settings: Settings, tmp_path: Path
) -> None:
    settings.VAR_DIR = tmp_path
    with backup_turn():
        page = open_as("owner", "/settings/backup/")
        page.get_by_role("heading", name="A backup is being made or proven").wait_for()
        assert page.get_by_role("button", name="Back up now").count() == 0
    page.get_by_role("button", name="Back up now").wait_for()
    assert page.get_by_role("heading", name="A backup is being made or proven").count() == 0
