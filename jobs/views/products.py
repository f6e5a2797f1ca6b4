"""Products: what is on the shelf, and their data sheets."""

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from clients.access import business_of, office_required
from jobs import actions
from jobs.forms.product import ProductForm
from jobs.models import Product, StockTin

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
    if request.GET.get("kind") in Product.Kind:
        product.kind = request.GET["kind"]
    form = ProductForm(data, instance=product, units=business_of(request).units)
    if form.is_bound and form.is_valid():
        actions.save_product(product=form.instance, now=timezone.now())
        messages.success(request, f"{form.instance} was saved.")
        return redirect("jobs:products")
    return render(
        request,
        "jobs/product.html",
        {
            "form": form,
            "title": title,
            "kinds": Product.Kind.choices,
            **product_stock(product),
        },
    )


def product_stock(product: Product) -> dict[str, Any]:
    """Batches, tins and packs of a product that is saved."""
    if not product.pk:
        return {}
    return {
        "batches": product.batches.order_by("-id")[:PRODUCTS_A_PAGE],
        "tins": StockTin.objects.in_stock().filter(product=product),
        "packs": product.packs.filter(is_active=True),
    }
