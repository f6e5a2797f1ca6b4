"""What every page frame shows: the name of the business and the navigation."""

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest
from django.urls import reverse

from clients.messaging.views.confirm import held_sending


@dataclass(frozen=True)
class NavigationItem:
    """One entry of the navigation."""

    label: str
    url: str
    icon: str
    is_current: bool


PAGES = [
    ("This month", "this_month", "month", ""),
    ("Decks", "decks:search", "deck", ""),
    ("Log a job", "jobs:log", "log", ""),
    ("Due list", "reminders:due", "due", "may_send"),
    ("Offers", "offers:list", "offer", "may_send"),
    ("Diary", "diary:week", "diary", ""),
    ("Outbox", "outbox:list", "outbox", "may_send"),
    ("Figures", "figures:overview", "figures", "may_send"),
    ("Settings", "settings:overview", "settings", ""),
]


def navigation(request: HttpRequest) -> list[NavigationItem]:
    """The pages this person may open; none before sign-in."""
    if not getattr(request, "user", None) or not request.user.is_authenticated:
        return []
    items = []
    for label, name, icon, right in PAGES:
        if right and not getattr(request.user, right):
            continue
        url = reverse(name)
        is_current = request.path == url if url == "/" else request.path.startswith(url)
        items.append(NavigationItem(label, url, icon, is_current))
    return items


def page_frame(request: HttpRequest) -> dict[str, Any]:
    business = getattr(request, "business", None)
    return {
        "business": business,
        "business_name": business.name if business else "",
        "navigation": (items := navigation(request)),
        "held_sending": held_sending(request) if items else None,
    }
