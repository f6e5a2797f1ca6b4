"""The table of columns in docs/owner.md says what the import does."""

from pathlib import Path

from jobs.importing.columns import SHEET_COLUMNS


def test_every_column_is_documented_as_it_is() -> None:
    text = (Path(__file__).parents[2] / "docs" / "owner.md").read_text()

    for column in SHEET_COLUMNS:
        needed = "yes" if column.is_required else ""
        assert f"| {column.name} | {needed} | {column.about} |" in text
