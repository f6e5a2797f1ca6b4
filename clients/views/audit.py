"""The audit trail: who changed what, and when."""

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from clients import audit_trail
from clients.pages import owner_required

ENTRIES_PER_PAGE = 50


@require_GET
@owner_required
def show_audit_trail(request: HttpRequest) -> HttpResponse:
    person = request.GET.get("person", "")
    record = request.GET.get("record", "")
    rows = audit_trail.audit_log_entries(person=person, record=record)
    page = Paginator(rows, ENTRIES_PER_PAGE).get_page(request.GET.get("page"))
    query = request.GET.copy()
    query.pop("page", None)
    context = {
        "page": page,
        "lines": list(audit_trail.describe_entries(page.object_list)),
        "person": person,
        "record": record,
        "people": audit_trail.audit_actors(),
        "kinds": audit_trail.audited_types(),
        "query": query.urlencode(),
    }
    return render(request, "settings/audit.html", context)
