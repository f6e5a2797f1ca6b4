"""Price lists: which there are, one list, a new one like the newest."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clients.access import business_of, manages, sends
from clients.forms.business import MONTHS
from jobs.actions import prices as deeds
from jobs.actions.prices import PriceListProblem
from jobs.forms import prices as forms
from jobs.models import PriceList


@sends
@require_GET
def price_lists(request: HttpRequest) -> HttpResponse:
    today = business_of(request).today(timezone.now())
    context = {"lists": PriceList.objects.with_offers(), "in_force": PriceList.objects.in_force(today), "today": today}
    return render(request, "jobs/prices_list.html", context)


@sends
@require_GET
def detail(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(PriceList.objects.whole().with_offers(), pk=pk)
    context = {
        "list": row,
        "rates": forms.rates_shown(row, business_of(request).units),
        "months": [MONTHS[month - 1] for month in row.off_season_months],
    }
    return render(request, "jobs/prices_detail.html", context)


@manages
@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    business = business_of(request)
    newest = PriceList.objects.whole().first()
    row = deeds.blank(currency=business.currency, valid_from=business.today(timezone.now()))
    return page(request, row, like=newest)


@manages
@require_http_methods(["GET", "HEAD", "POST"])
def change(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(PriceList.objects.whole(), pk=pk)
    if row.is_settled:
        messages.info(request, "Offers that were sent rest on this list, so it stays. Begin a new one like it.")
        return redirect("prices:detail", row.pk)
    return page(request, row)


def page(request: HttpRequest, row: PriceList, *, like: PriceList | None = None) -> HttpResponse:
    business = business_of(request)
    if request.method != "POST":
        return show(request, row, forms.opened(row, business, like=like))
    if "add_row" in request.POST:
        return show(request, row, forms.with_another_row(request.POST, row, business))
    filled = forms.sent(request.POST, row, business)
    if filled.is_valid():
        try:
            kept = deeds.save_price_list(price_list=filled.form.instance, rows=filled.rows())
            messages.success(request, "The price list was saved.")
            return redirect("prices:detail", kept.pk)
        except PriceListProblem as problem:
            filled.form.add_error(problem.field or None, str(problem))
    return show(request, row, filled)


def show(request: HttpRequest, row: PriceList, filled: forms.PriceForms) -> HttpResponse:
    return render(request, "jobs/prices_form.html", {"list": row, "page": filled, "form": filled.form})


@manages
@require_POST
def remove(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(PriceList, pk=pk)
    try:
        deeds.remove_price_list(price_list=row)
        messages.success(request, "The price list was removed.")
    except PriceListProblem as problem:
        messages.error(request, str(problem))
        return redirect("prices:detail", pk)
    return redirect("prices:list")
