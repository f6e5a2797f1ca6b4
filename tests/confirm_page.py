"""Answering the page that asks before anything is sent, as a browser would."""

from collections.abc import Collection
from typing import Any

from clients.messaging.confirming import ConfirmPage


def posted_again(answer: Any, *, without: Collection[str] = ()) -> dict[str, list[str]]:
    """What pressing the button of this page posts; `without` are clients whose tick was taken."""
    page: ConfirmPage = answer.context["page"]
    fields: dict[str, list[str]] = {"confirm": ["yes"]}
    for name, value in page.hidden:
        fields.setdefault(name, []).append(value)
    fields["shown"] = [row.box for row in page.rows]
    fields["send"] = [row.box for row in page.rows if row.is_ticked and row.client not in without]
    return fields
