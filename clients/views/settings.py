"""Settings: what there is to set, the business, and the wet days of towns."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from clients.access import business_of, owner_required
from clients.actions import business as actions
from clients.form_page import FormPage, render_form_page
from clients.forms.business import BusinessForm, NormalsForm
from clients.models import LocalNormals


@require_GET
def show_settings(request: HttpRequest) -> HttpResponse:
    return render(request, "settings/overview.html")


@require_http_methods(["GET", "POST"])
@owner_required
def edit_business(request: HttpRequest) -> HttpResponse:
    row = business_of(request)
    form = BusinessForm(request.POST or None, instance=type(row).objects.get(pk=row.pk))
    if form.is_valid():
        actions.change_business(business=form.instance)
        messages.success(request, "Saved.")
        return redirect("settings:overview")
    settings = reverse("settings:overview")
    page = FormPage(
        "The business",
        back=(settings, "Settings"),
        fields="settings/_business_fields.html",
        cancel=settings,
    )
    return render_form_page(request, page, form=form)


@require_GET
@owner_required
def list_normals(request: HttpRequest) -> HttpResponse:
    rows = LocalNormals.objects.order_by("country", "region", "town")
    return render(request, "settings/normals.html", {"rows": rows})


@require_http_methods(["GET", "POST"])
@owner_required
def add_normals(request: HttpRequest) -> HttpResponse:
    return normals_form(request, None)


@require_http_methods(["GET", "POST"])
@owner_required
def edit_normals(request: HttpRequest, pk: int) -> HttpResponse:
    return normals_form(request, get_object_or_404(LocalNormals, pk=pk))


def normals_form(request: HttpRequest, row: LocalNormals | None) -> HttpResponse:
    form = NormalsForm(request.POST or None, normals=row)
    if form.is_valid():
        kept = actions.save_local_normals(normals=row, values=form.values, now=timezone.now())
        messages.success(request, f"Saved for {kept.town}. The forecasts there follow.")
        return redirect("settings:normals")
    towns = reverse("settings:normals")
    page = FormPage(
        f"Wet days of {row.town if row else 'a town'}",
        "Days with at least 1 mm of rain in each month of an average year.",
        back=(towns, "Wet days"),
        fields="settings/_normals_fields.html",
        cancel=towns,
    )
    return render_form_page(request, page, form=form)
