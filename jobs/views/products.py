"""Products: what is on the shelf, and their data sheets."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from clients.actions.saving import NameTakenError
from clients.pages import (
    ListPage,
    business_of,
    office_required,
    render_list_page,
    with_camera,
)
from clients.views.editing import FormsOfPage, RecordEdit, edit_record
from jobs import actions
from jobs.forms.product import ProductForm
from jobs.models import Product, StockTin

MAX_BATCHES = 50


@require_GET
def list_products(request: HttpRequest) -> HttpResponse:
    new, to_buy = reverse("jobs:product_new"), reverse("jobs:to_buy")
    around = ListPage(
        "Products",
        "As their data sheets describe them.",
        rows="jobs/_products.html",
        empty="Add what is in the van: finishes first, then strippers, cleaners and brighteners.",
        empty_title="No products yet",
        actions=((new, "New product"), (to_buy, "What to buy")),
    )
    return render_list_page(request, around, Product.objects.with_job_counts())


@with_camera
@require_http_methods(["GET", "HEAD", "POST"])
def new_product(request: HttpRequest) -> HttpResponse:
    """Everyone may add a product: the crew stands on the deck with a tin the office has not heard
    of."""
    data = request.POST if request.method == "POST" else None
    product = of_asked_kind(request, Product())
    form = ProductForm(data, instance=product, units=business_of(request).units)
    answer = save_product_form(request, form, lambda values: actions.add_product(values=values))
    return answer or render_product_form(request, form, "New product")


def save_product_form(
    request: HttpRequest, form: ProductForm, save: Callable[[dict[str, Any]], Product]
) -> HttpResponse | None:
    """Save a valid form and go to the list; a name that is taken stands beside its field."""
    if not form.is_bound or not form.is_valid():
        return None
    try:
        kept = save(form.cleaned_data)
    except NameTakenError as error:
        form.add_error(error.field, str(error))
        return None
    messages.success(request, f"{kept} was saved.")
    return redirect("jobs:products")


@office_required
@with_camera
@require_http_methods(["GET", "HEAD", "POST"])
def edit_product(request: HttpRequest, pk: int) -> HttpResponse:
    def build(product: Product, data: QueryDict | None) -> FormsOfPage:
        asked = of_asked_kind(request, product)
        return FormsOfPage([ProductForm(data, instance=asked, units=business_of(request).units)])

    def save(product: Product, page: FormsOfPage) -> HttpResponse | None:
        return save_product_form(
            request,
            page.only_form,
            lambda values: actions.change_product(
                product=product, values=values, now=timezone.now()
            ),
        )

    def show(product: Product, page: FormsOfPage, opened: dict[str, str]) -> HttpResponse:
        context = product_stock(product) | opened
        return render_product_form(request, page.only_form, str(product), **context)

    rows = Product.objects.all()
    edit = RecordEdit(rows, build, save, show, back=lambda product: reverse("jobs:products"))
    return edit_record(request, pk, edit)


def of_asked_kind(request: HttpRequest, product: Product) -> Product:
    """`?kind=` asks what belongs to another kind than the product's."""
    if request.GET.get("kind") in Product.Kind:
        product.kind = request.GET["kind"]
    return product


def render_product_form(
    request: HttpRequest, form: ProductForm, title: str, **context: Any
) -> HttpResponse:
    context |= {"form": form, "title": title, "kinds": Product.Kind.choices}
    return render(request, "jobs/product.html", context)


def product_stock(product: Product) -> dict[str, Any]:
    """Batches, tins and packs of a product that is saved."""
    return {
        "batches": product.batches.order_by("-id")[:MAX_BATCHES],
        "tins": StockTin.objects.in_stock().filter(product=product),
        "packs": product.packs.filter(is_active=True),
    }
