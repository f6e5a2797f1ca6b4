"""What a backup says of itself: by whom, when, and what must come out of it again."""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from restorer.backup.problem import BackupError
from restorer.models import say_missing_files

LAYOUT = 1  # of the file; a later one is refused
OWN_MEMBERS = {"manifest.json", "manifest.sha256"}


@dataclass(frozen=True)
class FileRecord:
    """Bytes and SHA-256 of a member."""

    size: int
    sha256: str


@dataclass(frozen=True)
class TableRecord:
    """Rows of a table, and a checksum of them that does not depend on their order."""

    rows: int
    checksum: str


@dataclass(frozen=True)
class Manifest:
    """All of it is compared when the backup is verified or restored."""

    key: str
    made_at: datetime
    release: str
    mode: str  # "book" or "demo"
    business: str
    postgres: int  # major version of the server
    migrations: Mapping[str, list[str]]
    tables: Mapping[str, TableRecord]
    without_rows: list[str]  # tables whose rows are of the moment only
    missing: list[str] = field(default_factory=list)  # files that rows name and the store lacks
    members: Mapping[str, FileRecord] = field(default_factory=dict)

    @property
    def row_count(self) -> int:
        return sum(table.rows for table in self.tables.values())

    @property
    def photo_names(self) -> list[str]:
        """Photographs and other files of the book, by their names in the store."""
        return [name[6:] for name in self.members if name.startswith("files/")]

    @property
    def missing_words(self) -> str:
        return say_missing_files(len(self.missing), "".join(self.missing[:1]))

    def to_json(self) -> bytes:
        said: dict[str, Any] = asdict(self) | {
            "layout": LAYOUT,
            "made_at": self.made_at.isoformat(),
        }
        return json.dumps(said, ensure_ascii=False, indent=1, sort_keys=True).encode()

    @classmethod
    def from_json(cls, content: bytes) -> "Manifest":
        said = json.loads(content)
        if said.pop("layout") != LAYOUT:
            raise BackupError("The backup was made by a newer release. Install that release first.")
        said["made_at"] = datetime.fromisoformat(said["made_at"])
        said["tables"] = {name: TableRecord(**each) for name, each in said["tables"].items()}
        said["members"] = {name: FileRecord(**each) for name, each in said["members"].items()}
        return cls(**said)

    def require_same(self, records: Mapping[str, FileRecord], *, of: Path) -> None:
        """What was read is what was written."""
        found = {name: record for name, record in records.items() if name not in OWN_MEMBERS}
        wrong = [
            name
            for name in sorted({*found, *self.members})
            if found.get(name) != self.members.get(name)
        ]
        if wrong:
            more = f" and {len(wrong) - 1} more" if len(wrong) > 1 else ""
            raise BackupError(
                f"{of} was changed after it was made: {wrong[0]}{more} is not as the manifest says."
            )
