"""What every page frame shows: the name of the business, and the navigation with the place that
the page belongs to."""

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest
from django.urls import ResolverMatch
from django.utils import timezone

from clients.messaging.views.confirm import held_sending
from clients.pages import page_address
from reminders.today import count_inbox


@dataclass(frozen=True)
class NavigationItem:
    """One entry of the navigation; `waiting` is how much waits for somebody there."""

    label: str
    url: str
    icon: str
    is_current: bool
    waiting: int = 0


PAGES = [
    ("Today", "today", "month", ""),
    ("Clients", "clients:list", "deck", ""),
    ("Log a job", "jobs:log", "log", ""),
    ("Due list", "reminders:due", "due", "may_send"),
    ("Offers", "offers:list", "offer", "may_send"),
    ("Diary", "diary:week", "diary", ""),
    ("Outbox", "outbox:list", "outbox", "may_send"),
    ("Figures", "figures:overview", "figures", "may_send"),
    ("Settings", "settings:overview", "settings", ""),
]
# Where a page belongs: by its own name, else by the group of addresses that it is one of.
SECTION_OF_PAGE = {
    "today": "Today",
    "phone_offline": "Today",
    "reminders:redraft_offer": "Offers",
    "client_json": "Clients",
    "client_paper": "Clients",
    "jobs:log": "Log a job",
    "steps:rules": "Settings",
    "steps:stop": "Clients",
    "steps:lift": "Clients",
    "steps:otherwise": "Outbox",
    "jobs:to_buy": "Diary",
    "jobs:logo": "Settings",
    "jobs:ledger": "Offers",
    "jobs:paid_before": "Offers",
    "own_password": "Settings",
    "backup": "Settings",
    "programs": "Settings",
    "program_add": "Settings",
    "webhooks": "Settings",
    "webhook_add": "Settings",
    "webhook": "Settings",
    "webhook_edit": "Settings",
} | dict.fromkeys(
    [
        f"jobs:{page}"
        for page in (
            "products",
            "product_new",
            "product_edit",
            "product_files",
            "shelf",
            "pack_add",
            "pack_change",
            "tin_add",
            "tin_change",
            "batch",
            "erasures",
        )
    ],
    "Settings",
)
SECTION_OF_GROUP = {
    "clients": "Clients",
    "decks": "Clients",
    "deck_forms": "Clients",
    "jobs": "Clients",
    "reminders": "Due list",
    "pacing": "Diary",
    "lists": "Settings",
    "offers": "Offers",
    "diary": "Diary",
    "outbox": "Outbox",
    "channels": "Outbox",
    "figures": "Figures",
    "settings": "Settings",
    "speech": "Settings",
    "prices": "Settings",
}


def section_of(match: ResolverMatch | None) -> str:
    """The label of the entry that a page belongs to; empty where there is no such page."""
    if match is None:
        return ""
    return SECTION_OF_PAGE.get(match.view_name) or SECTION_OF_GROUP.get(match.app_name, "")


def navigation(request: HttpRequest) -> list[NavigationItem]:
    """The pages this person may open; none before sign-in."""
    user = getattr(request, "user", None)
    if not user or not user.is_authenticated:
        return []
    section = section_of(request.resolver_match)
    return [
        NavigationItem(
            label,
            page_address(name),
            icon,
            label == section,
            inbox_count(request) if name == "today" else 0,
        )
        for label, name, icon, right in PAGES
        if not right or getattr(user, right)
    ]


def inbox_count(request: HttpRequest) -> int:
    """What waits for whoever may see to it; a page that shows it has counted it."""
    business = getattr(request, "business", None)
    if business is None or not getattr(request.user, "may_send", False):
        return 0
    counted: int | None = getattr(request, "inbox_count", None)
    return count_inbox(today=business.today(timezone.now())) if counted is None else counted


def page_frame(request: HttpRequest) -> dict[str, Any]:
    business = getattr(request, "business", None)
    return {
        "business": business,
        "business_name": business.name if business else "",
        "navigation": (items := navigation(request)),
        "held_sending": held_sending(request) if items else None,
    }
