"""What was agreed, done and charged: the list, its files, and the mark “settled”."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from clients.pages import (
    ListPage,
    business_of,
    office_required,
    redirect_back,
    render_list_page,
)
from clients.tables import FILE_FORMATS, table_response
from jobs.actions.settling import settle_job
from jobs.models import Job
from jobs.offers import LEDGER_TABLES, JobLedger


@office_required
@require_GET
def show_ledger(request: HttpRequest) -> HttpResponse:
    """The page `jobs:ledger`; `?table=jobs&format=csv` is a file."""
    table, format = request.GET.get("table", ""), request.GET.get("format", "")
    if table in LEDGER_TABLES and format in FILE_FORMATS:
        rows, columns = LEDGER_TABLES[table]
        return table_response(rows(), format=format, name=f"{table}-ledger", columns=columns)
    around = ListPage(
        "Agreed, done, charged",
        "What is not paid yet comes first. Invoices and payments are kept in your own ledger: take"
        " the files there.",
        rows="jobs/_ledger.html",
        empty="No job has been logged yet.",
        back=(reverse("offers:list"), "Offers"),
        actions=(
            ("?table=jobs&format=csv", "Done jobs, CSV"),
            ("?table=offers&format=csv", "Accepted offers, CSV"),
        ),
    )
    return render_list_page(request, around, JobLedger())


@office_required
@require_POST
def mark_settled(request: HttpRequest, pk: int) -> HttpResponse:
    """The action `jobs:settle`: it is settled, or (`not`) it is not."""
    job = get_object_or_404(Job, pk=pk)
    now = timezone.now()
    day = None if "not" in request.POST else business_of(request).today(now)
    settle_job(job=job, day=day)
    messages.success(request, "Marked as paid." if day else "No longer marked as paid.")
    return redirect_back(request, "jobs:detail", pk)
