"""Price lists: which there are, one list, a new one like the newest."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clients.access import business_of, business_today, office_required, owner_required
from clients.forms.business import MONTH_NAMES
from jobs.actions import prices as actions
from jobs.actions.prices import PriceListError
from jobs.forms import prices as forms
from jobs.models import PriceList


@office_required
@require_GET
def list_price_lists(request: HttpRequest) -> HttpResponse:
    today = business_today(request)
    context = {
        "lists": PriceList.objects.with_offers(),
        "in_force": PriceList.objects.in_force(today),
        "today": today,
    }
    return render(request, "jobs/prices_list.html", context)


@office_required
@require_GET
def show_price_list(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(PriceList.objects.with_details().with_offers(), pk=pk)
    context = {
        "list": row,
        "rates": forms.displayed_rates(row, business_of(request).units),
        "months": [MONTH_NAMES[month - 1] for month in row.off_season_months],
    }
    return render(request, "jobs/prices_detail.html", context)


@owner_required
@require_http_methods(["GET", "HEAD", "POST"])
def price_list_new(request: HttpRequest) -> HttpResponse:
    business = business_of(request)
    newest = PriceList.objects.with_details().first()
    row = actions.new_price_list(
        currency=business.currency, valid_from=business.today(timezone.now())
    )
    return price_list_page(request, row, like=newest)


@owner_required
@require_http_methods(["GET", "HEAD", "POST"])
def edit_price_list(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(PriceList.objects.with_details(), pk=pk)
    if row.is_settled:
        messages.info(
            request,
            "Offers already sent use this list, so it stays. Begin a new one like it.",
        )
        return redirect("prices:detail", row.pk)
    return price_list_page(request, row)


def price_list_page(
    request: HttpRequest, row: PriceList, *, like: PriceList | None = None
) -> HttpResponse:
    business = business_of(request)
    if request.method != "POST":
        return render_price_form(request, row, forms.unbound_price_forms(row, business, like=like))
    if "add_row" in request.POST:
        return render_price_form(
            request, row, forms.price_forms_with_row(request.POST, row, business)
        )
    filled = forms.bound_price_forms(request.POST, row, business)
    if filled.is_valid():
        try:
            kept = actions.save_price_list(price_list=filled.form.instance, rows=filled.rows())
            messages.success(request, "The price list was saved.")
            return redirect("prices:detail", kept.pk)
        except PriceListError as problem:
            filled.form.add_error(problem.field or None, str(problem))
    return render_price_form(request, row, filled)


def render_price_form(
    request: HttpRequest, row: PriceList, filled: forms.PriceForms
) -> HttpResponse:
    return render(
        request,
        "jobs/prices_form.html",
        {
            "list": row,
            "page": filled,
            "form": filled.form,
            "asks_for_rows": "add_row" in request.POST,
        },
    )


@owner_required
@require_POST
def price_list_remove(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(PriceList, pk=pk)
    try:
        actions.remove_price_list(price_list=row)
        messages.success(request, "The price list was removed.")
    except PriceListError as problem:
        messages.error(request, str(problem))
        return redirect("prices:detail", pk)
    return redirect("prices:list")
