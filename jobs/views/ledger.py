"""What was agreed, done and charged: the list, its files, and the mark “settled”."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clients.pages import (
    FormPage,
    ListPage,
    business_of,
    business_today,
    office_required,
    redirect_back,
    render_form_page,
    render_list_page,
)
from clients.tables import FILE_FORMATS, table_response
from jobs.actions.settling import settle_job, settle_jobs_before
from jobs.forms.settling import PaidBeforeForm
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
        "What is not paid yet comes first. Old and imported jobs stand as not noted."
        " Invoices and payments are kept in your own ledger: take the files there.",
        rows="jobs/_ledger.html",
        empty="No job has been logged yet.",
        back=(reverse("offers:list"), "Offers"),
        actions=(
            ("?table=jobs&format=csv", "Done jobs, CSV"),
            ("?table=offers&format=csv", "Accepted offers, CSV"),
            (reverse("jobs:paid_before"), "Mark old jobs as paid"),
        ),
    )
    return render_list_page(request, around, JobLedger())


@office_required
@require_POST
def mark_settled(request: HttpRequest, pk: int) -> HttpResponse:
    """The action `jobs:settle`: it is settled, or (`not`) known to be open."""
    job = get_object_or_404(Job, pk=pk)
    now = timezone.now()
    day = None if "not" in request.POST else business_of(request).today(now)
    settle_job(job=job, day=day)
    messages.success(request, "Marked as paid." if day else "Marked as not paid.")
    return redirect_back(request, "jobs:detail", pk)


@office_required
@require_http_methods(["GET", "HEAD", "POST"])
def mark_paid_before(request: HttpRequest) -> HttpResponse:
    """The page `jobs:paid_before`: everything before a day is paid."""
    today = business_today(request)
    form = PaidBeforeForm(request.POST or None, today=today)
    if request.method == "POST" and form.is_valid():
        count = settle_jobs_before(before=form.cleaned_data["before"], day=today)
        words = "1 job is" if count == 1 else f"{count} jobs are"
        messages.success(request, f"{words} marked as paid.")
        return redirect("jobs:ledger")
    page = FormPage(
        "Mark old jobs as paid",
        "Every job done before this day is marked as paid, also those that stand as not paid.",
        back=(reverse("jobs:ledger"), "Agreed, done, charged"),
        button="Mark as paid",
        cancel=reverse("jobs:ledger"),
    )
    return render_form_page(request, page, form=form)
