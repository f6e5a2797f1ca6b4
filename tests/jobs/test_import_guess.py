"""Any list as people keep it, by the command and its best guesses."""

import json
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command

from clients.models import Business
from tests.jobs import old_lists
from tests.jobs.towns import add_towns

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _towns(business: Business) -> None:
    add_towns()


def guess(path: Path, **options: object) -> list[dict[str, object]]:
    out = StringIO()
    call_command(
        "import_book",
        str(path),
        guess=True,
        format="json",
        stdout=out,
        stderr=StringIO(),
        **options,
    )
    return json.loads(out.getvalue())


@pytest.mark.parametrize(
    ("write", "name"),
    [
        (old_lists.write_client_sheet, "clients.xlsx"),
        (old_lists.write_invoice_lines, "invoices.csv"),
        (old_lists.write_hand_list, "by hand.xlsx"),
    ],
)
def test_nine_of_ten_rows_of_an_honest_list_are_ready_by_guessing(
    tmp_path: Path, write, name: str
) -> None:
    count = write(tmp_path / name)
    found = guess(tmp_path / name)

    assert found[0]["rows"] == count
    assert found[0]["ready"] >= 0.9 * count
