"""The audit trail: who changed what, and when."""

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from clients import trail
from clients.access import manages

A_PAGE = 50


@require_GET
@manages
def audit(request: HttpRequest) -> HttpResponse:
    person, record = request.GET.get("person", ""), request.GET.get("record", "")
    rows = trail.entries(person=person, record=record)
    page = Paginator(rows, A_PAGE).get_page(request.GET.get("page"))
    query = request.GET.copy()
    query.pop("page", None)
    context = {
        "page": page, "lines": list(trail.lines(page.object_list)), "person": person, "record": record,
        "people": trail.people(), "kinds": trail.kinds(), "query": query.urlencode(),
    }  # fmt: skip
    return render(request, "settings/audit.html", context)
