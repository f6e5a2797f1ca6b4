"""The trace of a batch, a product or a time on screen, on paper and as CSV, and the one page from
which exactly those clients are told."""

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from clients.messaging.texts import text_languages
from clients.pages import business_of, business_today, current_user, office_required
from clients.tables import FILE_FORMATS, table_response
from jobs import actions
from jobs.actions.recall import RecallRequest, RecallResult, send_recall
from jobs.forms.product import BatchForm
from jobs.forms.tracing import RecallForm, TraceForm
from jobs.models import Batch
from jobs.pdf import pdf_response, trace_pdf
from jobs.tracing import (
    MAX_RECALLED,
    TRACE_COLUMNS,
    ProductTrace,
    RecallPlan,
    coats_without_batch,
    plan_recall,
    trace_facts,
    trace_rows,
)

COATS_A_PAGE = 50
MAX_PRINTED_COATS = 5_000  # lines on paper: a minute of layout; the CSV has all
MAX_SAID = 5


@require_http_methods(["GET", "HEAD", "POST"])
def show_batch_trace(request: HttpRequest, pk: int) -> HttpResponse:
    """The page `jobs:batch`: the trace of a batch, with its dates to be changed."""
    row = get_object_or_404(Batch.objects.select_related("product"), pk=pk)
    form = BatchForm(request.POST if request.method == "POST" else None, instance=row)
    if form.is_bound and form.is_valid():
        actions.change_batch(batch=row, **form.cleaned_data)
        messages.success(request, "The dates of the batch were saved.")
        return redirect("jobs:batch", pk)
    return render_trace(request, ProductTrace(batch=row), {"batch": row, "form": form})


@require_GET
def show_trace(request: HttpRequest) -> HttpResponse:
    """The page `jobs:trace`: a product, a batch, the days of a span, or these together;
    `?format=csv`, `xlsx` or `pdf` the list."""
    form = TraceForm(request.GET)
    trace = trace_of(form)
    if not trace.is_empty and (format := request.GET.get("format", "")) in FILE_FORMATS:
        rows = trace_rows(trace.coats().with_owners())
        return table_response(rows, format=format, name=trace.file_name, columns=TRACE_COLUMNS)
    if not trace.is_empty and request.GET.get("format") == "pdf":
        return trace_as_pdf(request, trace)
    return render_trace(request, trace, {"batch": trace.batch, "choice": form})


def trace_of(form: TraceForm) -> ProductTrace:
    """What was asked for; nothing if a field is wrong."""
    return ProductTrace(**form.cleaned_data) if form.is_valid() else ProductTrace()


def render_trace(request: HttpRequest, trace: ProductTrace, more: dict[str, Any]) -> HttpResponse:
    facts = None if trace.is_empty else trace_facts(trace)
    count = facts.coats if facts else 0
    coats = trace.coats().with_owners() if count else trace.coats().none()
    page = Paginator(coats, max(count, 1) if "all" in request.GET else COATS_A_PAGE).get_page(
        request.GET.get("page")
    )
    context = {
        "trace": trace,
        "facts": facts,
        "count": count,
        "page": page,
        "query": urlencode(trace.address) if "choice" in more else "",
        "kept": urlencode(trace.address),
        "without_batch": coats_without_batch(trace, facts) if facts else 0,
        "today": business_today(request),
        **more,
    }
    return render(request, "jobs/trace.html", context)


def trace_as_pdf(request: HttpRequest, trace: ProductTrace) -> HttpResponse:
    facts = trace_facts(trace)
    coats = list(trace.coats().with_owners()[:MAX_PRINTED_COATS])
    context = {
        "trace": trace,
        "facts": facts,
        "coats": coats,
        "left_out": facts.coats - len(coats),
        "today": business_today(request),
    }
    content = trace_pdf(context, business=business_of(request))
    return pdf_response(content, f"{trace.file_name}.pdf")


@office_required
@require_http_methods(["GET", "HEAD", "POST"])
def recall_clients(request: HttpRequest) -> HttpResponse:
    """The page `jobs:recall`: who is told how, whom the program cannot tell, and the words; sent
    when it is confirmed."""
    trace = trace_of(TraceForm(request.GET))
    if trace.is_empty or trace_facts(trace).clients > MAX_RECALLED:
        messages.error(
            request,
            f"Choose a product, a batch or days that mean at most {MAX_RECALLED:,} clients.",
        )
        return redirect("jobs:trace")
    plan = plan_recall(trace, on=business_today(request))
    names = {code: text_languages().get(code, code) for code in plan.languages}
    form = RecallForm(request.POST if request.method == "POST" else None, languages=names)
    channels = chosen_channels(request, plan)
    if form.is_bound and form.is_valid() and channels:
        result = send_recall(
            asked=RecallRequest(trace, channels, form.notices),
            by=current_user(request),
            now=timezone.now(),
        )
        report_recall(request, result)
        return redirect(f"{reverse('jobs:trace')}?{urlencode(trace.address)}")
    if form.is_bound and not channels:
        messages.error(request, "Choose at least one client to tell.")
    context = {
        "trace": trace,
        "plan": plan,
        "rows": [
            (each, channels.get(each.client.pk, "") if form.is_bound else each.routes[0].channel)
            for each in plan.reachable
        ],
        "form": form,
        "kept": urlencode(trace.address),
    }
    return render(request, "jobs/recall.html", context)


def chosen_channels(request: HttpRequest, plan: RecallPlan) -> dict[int, str]:
    """Client → the way that was chosen for them; whoever is not to be told is left out."""
    posted = {
        each.client.pk: request.POST.get(f"way_{each.client.pk}", "") for each in plan.reachable
    }
    return {client: channel for client, channel in posted.items() if channel}


def report_recall(request: HttpRequest, result: RecallResult) -> None:
    if count := len(result.queued):
        words = f"{count} notices are" if count > 1 else "1 notice is"
        messages.success(request, f"{words} in the outbox.")
    if count := len(result.told_before):
        words = f"{count} clients were" if count > 1 else "1 client was"
        messages.info(request, f"{words} told the same before. Nothing was sent twice.")
    for name, why in result.left_out[:MAX_SAID]:
        messages.warning(request, f"{name} was not told. {why}")
    if len(result.left_out) > MAX_SAID:
        messages.warning(request, f"{len(result.left_out) - MAX_SAID} more were not told.")
