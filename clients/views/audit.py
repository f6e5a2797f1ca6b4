"""The audit trail: who changed what, and when."""

from auditlog.models import LogEntry
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from clients import audit_trail
from clients.actions import undoing
from clients.pages import owner_required, redirect_back

ENTRIES_PER_PAGE = 50


@require_GET
@owner_required
def show_audit_trail(request: HttpRequest) -> HttpResponse:
    person = request.GET.get("person", "")
    record = request.GET.get("record", "")
    rows = audit_trail.audit_log_entries(person=person, record=record)
    page = Paginator(rows, ENTRIES_PER_PAGE).get_page(request.GET.get("page"))
    shown = list(page.object_list)
    query = request.GET.copy()
    query.pop("page", None)
    context = {
        "page": page,
        "lines": list(audit_trail.describe_entries(shown, undoable=undoing.newest_entries(shown))),
        "person": person,
        "record": record,
        "people": audit_trail.audit_actors(),
        "kinds": audit_trail.audited_types(),
        "query": query.urlencode(),
    }
    return render(request, "settings/audit.html", context)


@require_POST
@owner_required
def undo_record_change(request: HttpRequest, pk: int) -> HttpResponse:
    """Take the last change of a record back; the undoing stands in the trail like any change."""
    entry = get_object_or_404(LogEntry.objects.select_related("content_type"), pk=pk)
    try:
        row = undoing.undo_change(entry=entry, now=timezone.now())
    except undoing.UndoError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, f"{row} is as it was before that change.")
    return redirect_back(request, "settings:audit")
