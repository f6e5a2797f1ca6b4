"""Price lists: which there are, one list, a new one like the newest."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clients.display import format_day
from clients.forms.business import MONTH_NAMES
from clients.messaging.law import ContractPlace, WithdrawalRight, withdrawal_right
from clients.messaging.texts import text_languages
from clients.notation import supported_language
from clients.pages import (
    FormPage,
    ListPage,
    business_of,
    business_today,
    current_user,
    office_required,
    owner_required,
    render_form_page,
    render_list_page,
)
from clients.views.editing import RecordEdit, edit_record
from jobs.actions import prices as actions
from jobs.actions.prices import PriceListError
from jobs.forms import prices as forms
from jobs.forms.offer_terms import OfferTermsForm
from jobs.models import OfferTerms, PriceList


@office_required
@require_GET
def list_price_lists(request: HttpRequest) -> HttpResponse:
    today = business_today(request)
    is_owner = current_user(request).may_manage
    around = ListPage(
        "Prices",
        "A list holds from its day until the next one begins. An offer keeps the prices it was made"
        " with.",
        rows="jobs/_price_lists.html",
        empty="Offers need a price list: what a square metre of each task costs, travel and taxes.",
        empty_title="No prices yet",
        back=(reverse("settings:overview"), "Settings"),
        actions=((reverse("prices:new"), "New price list"),) if is_owner else (),
    )
    rows = PriceList.objects.with_offers().order_by("-valid_from")
    in_force = PriceList.objects.in_force(today)
    return render_list_page(request, around, rows, in_force=in_force, today=today)


@owner_required
@require_http_methods(["GET", "HEAD", "POST"])
def edit_offer_terms(request: HttpRequest) -> HttpResponse:
    """The page `prices:terms`: what stands on offers beside the price, `?language=` by language."""
    names = text_languages()
    asked = request.GET.get("language", "")
    own = supported_language(business_of(request).locale)
    language = asked if asked in names else own
    row = OfferTerms.objects.filter(language=language).first() or OfferTerms(language=language)
    right = right_at_home(request)
    may_be_cancelled = right is not None and right.is_cancellation
    form = OfferTermsForm(request.POST or None, instance=row, may_be_cancelled=may_be_cancelled)
    if request.method == "POST" and form.is_valid():
        actions.save_offer_terms(language=language, values=form.cleaned_data)
        messages.success(request, "Saved. Offers that were sent keep their words.")
        return redirect(f"{reverse('prices:terms')}?language={language}")
    overview = reverse("settings:overview")
    around = FormPage(
        "Terms on offers",
        names[language],
        back=(overview, "Settings"),
        before="jobs/_offer_terms_before.html",
        cancel=overview,
    )
    context = {"form": form, "languages": sorted(names.items()), "language": language}
    return render_form_page(request, around, right=right, **context)


def right_at_home(request: HttpRequest) -> WithdrawalRight | None:
    """What a client in the region of the business may take back."""
    business = business_of(request)
    home = ContractPlace(business.country, business.region)
    return withdrawal_right([home], on=business_today(request))


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
    page = price_forms_of(request, row, request.POST or None, like=newest)
    if request.method == "POST" and not asks_for_row(request) and page.is_valid():
        answer = keep_price_list(request, row, page)
        if answer:
            return answer
    return render_price_form(request, row, page)


def render_price_form(
    request: HttpRequest, row: PriceList, page: forms.PriceForms, **opened: str
) -> HttpResponse:
    lists = reverse("prices:list")
    around = FormPage(
        f"Change the prices from {format_day(row.valid_from)}" if row.pk else "New price list",
        f"In {row.currency}. Offers made from it keep these prices for good.",
        back=(lists, "Prices"),
        fields="jobs/_prices_fields.html",
        cancel=lists,
        is_checked_by_browser=False,
    )
    context = {
        "page": page,
        "form": page.form,
        "forms": page.single_forms,
        "formsets": page.formsets,
        "has_errors": page.has_errors,
        "row_word": "Row",
        "asks_for_rows": asks_for_row(request),
    }
    return render_form_page(request, around, **context, **opened)


def asks_for_row(request: HttpRequest) -> bool:
    return "add_row" in request.POST


def price_forms_of(
    request: HttpRequest,
    row: PriceList,
    data: QueryDict | None,
    *,
    like: PriceList | None = None,
) -> forms.PriceForms:
    """The page as the book has it, as it was sent, or as it was sent with one more row."""
    business = business_of(request)
    if data is None:
        return forms.unbound_price_forms(row, business, like=like)
    if "add_row" in data:
        return forms.price_forms_with_row(data, row, business)
    return forms.bound_price_forms(data, row, business)


def keep_price_list(
    request: HttpRequest, row: PriceList, page: forms.PriceForms
) -> HttpResponse | None:
    """Save a valid page; what the action refuses stands beside its field."""
    try:
        kept = actions.save_price_list(
            price_list=row, values=page.form.cleaned_data, rows=page.rows()
        )
    except PriceListError as problem:
        page.form.add_error(problem.field or None, str(problem))
        return None
    messages.success(request, "The price list was saved.")
    return redirect("prices:detail", kept.pk)


@owner_required
@require_http_methods(["GET", "HEAD", "POST"])
def edit_price_list(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(PriceList, pk=pk)
    if row.is_settled:
        messages.info(
            request,
            "Offers already sent use this list, so it stays. Begin a new one like it.",
        )
        return redirect("prices:detail", row.pk)

    def build(row: PriceList, data: QueryDict | None) -> forms.PriceForms:
        return price_forms_of(request, row, data)

    def save(row: PriceList, page: forms.PriceForms) -> HttpResponse | None:
        return keep_price_list(request, row, page)

    def show(row: PriceList, page: forms.PriceForms, opened: dict[str, str]) -> HttpResponse:
        return render_price_form(request, row, page, **opened)

    edit = RecordEdit(
        PriceList.objects.with_details(),
        build,
        save,
        show,
        back=lambda row: reverse("prices:detail", args=[row.pk]),
        is_unchecked=lambda: asks_for_row(request),
    )
    return edit_record(request, pk, edit)


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
