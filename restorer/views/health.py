"""The health page for machines that watch:
the database answers, the background loops work, the outbox moves."""

import ipaddress
import json
from datetime import datetime
from typing import Any

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.db import Error
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone
from django.utils.crypto import constant_time_compare
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from prometheus_client import CONTENT_TYPE_LATEST

from clients.messaging.models import Message
from clients.models import Heartbeat
from clients.pages import visitor_address
from restorer import time_zones
from restorer.metrics import count_overdue_messages, silent_loops, write_metrics

HANDED_ON = {"X-Forwarded-For", "Forwarded"}


@require_safe
@login_not_required
@never_cache
def show_health(request: HttpRequest) -> HttpResponse:
    """503 while the database is away or a loop has not shown itself for five minutes.
    A stranger is told nothing more than that."""
    state = health_state(timezone.now())
    if not may_hear_details(request):
        state = {"ok": state["ok"]}
    status = 200 if state["ok"] else 503
    if request.GET.get("format") == "json" or "application/json" in request.headers.get(
        "Accept", ""
    ):
        return JsonResponse(state, status=status)
    lines = [f"{name}: {json.dumps(value)}" for name, value in state.items()]
    return HttpResponse(
        "\n".join(lines) + "\n", content_type="text/plain; charset=utf-8", status=status
    )


def may_hear_details(request: HttpRequest) -> bool:
    """Who watches from this machine, and whoever is signed in."""
    try:
        return is_from_this_machine(request) or request.user.is_authenticated
    except Error:  # no database, no person
        return False


@require_safe
@login_not_required
@never_cache
def show_metrics(request: HttpRequest) -> HttpResponse:
    """The figures of `restorer.metrics`, for who watches from this machine or has METRICS_TOKEN;
    nobody else hears that there are any."""
    if not may_scrape(request):
        raise Http404
    try:
        written = write_metrics(now=timezone.now())
    except Error:
        return HttpResponse(status=503)
    return HttpResponse(written, content_type=CONTENT_TYPE_LATEST)


def may_scrape(request: HttpRequest) -> bool:
    shown = request.headers.get("Authorization", "").removeprefix("Bearer ")
    if settings.METRICS_TOKEN and constant_time_compare(shown, settings.METRICS_TOKEN):
        return True
    return is_from_this_machine(request)


def is_from_this_machine(request: HttpRequest) -> bool:
    """A proxy on this machine hands visitors from elsewhere on, and says so."""
    if not HANDED_ON.isdisjoint(request.headers):
        return False
    try:
        return ipaddress.ip_address(visitor_address(request)).is_loopback
    except ValueError:  # a peer without an address
        return False


def health_state(now: datetime) -> dict[str, Any]:
    """The keys are stable; they are documented in docs/server.md."""
    try:
        ages = Heartbeat.objects.ages(now=now)
        waiting = count_overdue_messages(now=now)
        people = Message.objects.needing_a_person().count()
    except Error:
        return {"ok": False, "database": False}
    return {
        "ok": bool(ages) and not silent_loops(ages),
        "database": True,
        "loops": {name: round(age) for name, age in ages.items()},
        "outbox_overdue": waiting,
        "outbox_needs_a_person": people,
        "time_zones": time_zones.ZONES_VERSION,
        "time_zones_old": time_zones.are_zones_old(now.date()),
    }
