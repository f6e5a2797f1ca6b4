"""Where the offline tables lie, and the town table as rows."""

import csv
import gzip
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

DATA_DIR = Path(__file__).resolve().parent.parent / "data"
TOWNS_FILE = DATA_DIR / "towns.csv.gz"
CLIMATE_FILE = DATA_DIR / "climate.npz"
MEASURED_SUNSHINE = DATA_DIR / "measured_sunshine.csv"

TOWN_COLUMNS = (
    "geoname_id",
    "name",
    "ascii_name",
    "region",
    "country",
    "latitude",
    "longitude",
    "time_zone",
    "population",
)


def town_rows(path: Path | None = None) -> Iterator[dict[str, str]]:
    """The towns; `ascii_name` is stored only where it differs from the name."""
    with gzip.open(path or TOWNS_FILE, "rt", encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            row["ascii_name"] = row["ascii_name"] or row["name"]
            yield row


def checksum(path: Path) -> str:
    """What tells one edition of a table from another."""
    return sha256(path.read_bytes()).hexdigest()
