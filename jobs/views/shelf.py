"""What is on the shelf of one product:
tins that are left, which everybody keeps, and packs, which the office keeps."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from clients import display
from clients.models import is_primary_key
from clients.pages import business_of, business_today, current_user, office_required
from jobs import actions
from jobs.forms.shelf import PackChangeForm, PackForm, TinChangeForm, TinForm
from jobs.models import Job, Pack, Product, StockTin

TIN_CHECK_PERIOD = timedelta(days=14)  # for so long a job asks what is left in the tins


@require_GET
def show_shelf(request: HttpRequest, pk: int) -> HttpResponse:
    """The page `jobs:shelf`."""
    return render_shelf(request, get_object_or_404(Product, pk=pk))


@require_POST
def tin_add(request: HttpRequest, pk: int) -> HttpResponse:
    product = get_object_or_404(Product, pk=pk)
    form = TinForm(request.POST, product=product, units=business_of(request).units, prefix="tin")
    if not form.is_valid():
        return render_shelf(request, product, tin_form=form)
    values = form.cleaned_data
    tin, is_new = actions.add_tin(
        product=product,
        colour=values.get("colour", ""),
        batch_code=values["batch"],
        litres=values["litres"],
        form_key=values["form_key"],
        today=business_today(request),
    )
    what = (
        f"{display.format_measure(tin.litres, 'volume')} of"
        f" {product}{f' in {tin.colour}' if tin.colour else ''}"
    )
    said = (
        f"{what} stands on the shelf."
        if is_new
        else f"{what} was put there already. Nothing was added."
    )
    messages.success(request, said)
    return redirect("jobs:shelf", pk)


@require_POST
def tin_change(request: HttpRequest, pk: int) -> HttpResponse:
    tin = get_object_or_404(StockTin.objects.select_related("product"), pk=pk)
    now = timezone.now()
    today = business_of(request).today(now)
    form = TinChangeForm(
        {f"tin-{pk}-litres": "0"} if "used_up" in request.POST else request.POST,
        tin=tin,
        units=business_of(request).units,
        today=today,
    )
    if not form.is_valid():
        return render_shelf(request, tin.product, changed=[form])
    actions.measure_tin(tin=tin, litres=form.cleaned_data["litres"], today=today, now=now)
    left = display.format_measure(tin.litres, "volume")
    messages.success(
        request, f"{left} left in the can." if tin.litres else "The can is off the shelf."
    )
    job = request.POST.get("job", "")
    return (
        redirect("jobs:detail", int(job))
        if is_primary_key(job)
        else redirect("jobs:shelf", tin.product_id)
    )


def tins_after(job: Job, *, units: str, today: date) -> list[TinChangeForm]:
    """The tins a fresh job may have drawn on, so that they are noted while somebody stands beside
    them."""
    if today - job.finished_on > TIN_CHECK_PERIOD:
        return []
    used = {(coat.product_id, coat.colour.casefold()) for coat in job.coats_applied.all()}
    tins = (
        StockTin.objects.in_stock()
        .filter(product__in={product for product, _ in used})
        .select_related("batch", "product")
    )
    fitting = [
        tin for tin in tins if not tin.colour or (tin.product_id, tin.colour.casefold()) in used
    ]
    return [TinChangeForm(tin=tin, units=units, today=today) for tin in fitting]


@office_required
@require_POST
def pack_add(request: HttpRequest, pk: int) -> HttpResponse:
    product = get_object_or_404(Product, pk=pk)
    business = business_of(request)
    form = PackForm(request.POST, units=business.units, currency=business.currency, prefix="pack")
    if not form.is_valid():
        return render_shelf(request, product, pack_form=form)
    pack = actions.save_pack(product=product, **form.cleaned_data)
    messages.success(
        request,
        f"{display.format_pack_size(pack.litres)} costs {display.format_money(pack.price)}.",
    )
    return redirect("jobs:shelf", pk)


@office_required
@require_POST
def pack_change(request: HttpRequest, pk: int) -> HttpResponse:
    pack = get_object_or_404(Pack.objects.select_related("product"), pk=pk)
    form = PackChangeForm(request.POST, pack=pack, currency=business_of(request).currency)
    if not form.is_valid():
        return render_shelf(request, pack.product, changed=[form])
    actions.change_pack(pack=pack, **form.cleaned_data)
    messages.success(request, "The pack was changed.")
    return redirect("jobs:shelf", pack.product_id)


def render_shelf(
    request: HttpRequest,
    product: Product,
    *,
    tin_form: TinForm | None = None,
    pack_form: PackForm | None = None,
    changed: Sequence[forms.Form] = (),
) -> HttpResponse:
    """The page with the forms as they came back, or fresh ones."""
    business = business_of(request)
    today = business.today(timezone.now())
    wrong = [form for form in (tin_form, pack_form, *changed) if form]
    context: dict[str, Any] = {
        "product": product,
        "tin_form": tin_form or TinForm(product=product, units=business.units, prefix="tin"),
        "tins": tin_rows(product, business.units, today, changed),
        "wrong": wrong[0] if wrong else None,
    }
    if current_user(request).may_send:
        context["pack_form"] = pack_form or PackForm(
            units=business.units, currency=business.currency, prefix="pack"
        )
        context["packs"] = pack_rows(product, business.currency, changed)
    return render(request, "jobs/shelf.html", context)


def tin_rows(
    product: Product, units: str, today: date, changed: Sequence[forms.Form]
) -> list[TinChangeForm]:
    """One form a tin that is not used up; the one that came back wrong in its place."""
    came_back = {form.tin.pk: form for form in changed if isinstance(form, TinChangeForm)}
    tins = StockTin.objects.in_stock().filter(product=product).select_related("batch")
    return [
        came_back.get(tin.pk) or TinChangeForm(tin=tin, units=units, today=today) for tin in tins
    ]


def pack_rows(
    product: Product, currency: str, changed: Sequence[forms.Form]
) -> list[PackChangeForm]:
    came_back = {form.pack.pk: form for form in changed if isinstance(form, PackChangeForm)}
    return [
        came_back.get(pack.pk) or PackChangeForm(pack=pack, currency=currency)
        for pack in product.packs.all()
    ]
