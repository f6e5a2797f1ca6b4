"""Pages share their templates: a new one takes the place of an old one, or uses one of those."""

from pathlib import Path

ROOT = Path(__file__).parents[2]
APPS = ["clients", "jobs", "reminders", "restorer"]
MAX_PAGE_TEMPLATES = 65  # 95 in November 2026, before pages that are only a form became one


def test_there_are_at_most_65_templates_of_pages() -> None:
    """Counted: every template that extends another one, the sample page of the style too."""
    pages = [
        path
        for app in APPS
        for path in (ROOT / app).rglob("*.html")
        if "{% extends" in path.read_text()
    ]
    assert len(pages) <= MAX_PAGE_TEMPLATES
