"""Products and batches: what is on the shelf, its data sheets, and where a batch went."""

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from clients.access import business_of, business_today, office_required
from jobs import actions
from jobs.forms.product import BatchForm, ProductForm
from jobs.models import Batch, CoatApplied, Product, StockTin

PRODUCTS_A_PAGE = 50


@require_GET
def list_products(request: HttpRequest) -> HttpResponse:
    shelf = Product.objects.with_job_counts()
    page = Paginator(shelf, PRODUCTS_A_PAGE).get_page(request.GET.get("page"))
    return render(request, "jobs/products.html", {"page": page})


@require_http_methods(["GET", "HEAD", "POST"])
def new_product(request: HttpRequest) -> HttpResponse:
    """Everyone may add a product: the crew stands on the deck with a tin the office has not heard
    of."""
    return product_page(request, Product(), "New product")


@office_required
@require_http_methods(["GET", "HEAD", "POST"])
def edit_product(request: HttpRequest, pk: int) -> HttpResponse:
    product = get_object_or_404(Product, pk=pk)
    return product_page(request, product, str(product))


def product_page(request: HttpRequest, product: Product, title: str) -> HttpResponse:
    data = request.POST if request.method == "POST" else None
    form = ProductForm(data, instance=product, units=business_of(request).units)
    if form.is_bound and form.is_valid():
        actions.save_product(product=form.instance, now=timezone.now())
        messages.success(request, f"{form.instance} was saved.")
        return redirect("jobs:products")
    return render(
        request, "jobs/product.html", {"form": form, "title": title, **product_stock(product)}
    )


def product_stock(product: Product) -> dict[str, Any]:
    """Batches, tins and packs of a product that is in the book."""
    if not product.pk:
        return {}
    return {
        "batches": product.batches.order_by("-id")[:PRODUCTS_A_PAGE],
        "tins": StockTin.objects.in_stock().filter(product=product),
        "packs": product.packs.filter(is_active=True),
    }


@require_http_methods(["GET", "HEAD", "POST"])
def show_batch_trace(request: HttpRequest, pk: int) -> HttpResponse:
    """The batch trace `jobs:batch`: every deck a batch went on, with the client and how to reach
    them."""
    row = get_object_or_404(Batch.objects.select_related("product"), pk=pk)
    form = BatchForm(request.POST if request.method == "POST" else None, instance=row)
    if form.is_bound and form.is_valid():
        actions.change_batch(batch=row, **form.cleaned_data)
        messages.success(request, "The dates of the batch were saved.")
        return redirect("jobs:batch", pk)
    trace = CoatApplied.objects.trace(row)
    count = trace.count()
    page = Paginator(trace, max(count, 1) if "all" in request.GET else PRODUCTS_A_PAGE).get_page(
        request.GET.get("page")
    )
    today = business_today(request)
    context = {"batch": row, "form": form, "page": page, "count": count, "today": today}
    return render(request, "jobs/batch.html", context)
