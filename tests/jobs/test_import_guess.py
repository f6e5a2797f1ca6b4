"""Any list as people keep it, by the command and its best guesses."""

import json
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command

from clients.models import Business, Place, Property
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


def test_a_hamlet_lies_by_the_town_of_most_rows_where_nobody_said_where_the_business_is(
    tmp_path: Path,
) -> None:
    Business.objects.update(town="", region="")
    Place.objects.create(
        geoname_id=99,
        name="Toronto",
        ascii_name="Toronto",
        region="Ontario",
        country="CA",
        latitude=43.7,
        longitude=-79.4,
        time_zone="America/Toronto",
        population=2_731_571,
    )
    old_lists.write_client_sheet(tmp_path / "clients.xlsx")

    guess(tmp_path / "clients.xlsx")

    hamlet = Property.objects.filter(town="Blue Rocks").first()
    assert hamlet is not None
    lunenburg = Place.objects.get(name="Lunenburg")
    assert float(hamlet.latitude) == pytest.approx(float(lunenburg.latitude))
