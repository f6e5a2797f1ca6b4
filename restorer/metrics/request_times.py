"""How long requests take, by route: what a page is, never its address, which may hold a secret."""

import time
from collections.abc import Callable
from pathlib import Path

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from prometheus_client import Histogram

BUCKETS = (0.05, 0.1, 0.15, 0.3, 0.6, 1.2, 2.5, 5, 10, 30)  # seconds
METHODS = {"GET", "HEAD", "POST"}
REQUEST_SECONDS = Histogram(
    "restorer_request_seconds",
    "Time from a whole request to its answer.",
    ["route", "method", "status"],
    buckets=BUCKETS,
)


class RequestTimesMiddleware:
    """Stands first, so that it sees the whole of the program's work."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        began = time.perf_counter()
        answer = self.get_response(request)
        method = request.method if request.method in METHODS else "other"
        status = f"{answer.status_code // 100}xx"
        seen = REQUEST_SECONDS.labels(route_of(request), method, status)
        seen.observe(time.perf_counter() - began)
        return answer


def route_of(request: HttpRequest) -> str:
    """The pattern that took the request, such as `o/<str:token>/`; empty if none did."""
    match = request.resolver_match
    return match.route if match else ""


def forget_request_times() -> None:
    """The processes of before have ended: their counts begin again, as every counter may."""
    for path in Path(settings.METRICS_DIR).glob("*.db"):
        path.unlink(missing_ok=True)
