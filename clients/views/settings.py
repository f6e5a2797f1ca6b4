"""Settings: what there is to set, the business, and the wet days of towns."""

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from clients.actions import business as actions
from clients.forms.business import BusinessForm, NormalsForm
from clients.models import Business, LocalNormals
from clients.pages import (
    FormPage,
    ListPage,
    business_of,
    owner_required,
    render_form_page,
    render_list_page,
)
from clients.views.editing import FormsOfPage, RecordEdit, edit_record


@require_GET
def show_settings(request: HttpRequest) -> HttpResponse:
    return render(request, "settings/overview.html")


@require_GET
def show_sources(request: HttpRequest) -> HttpResponse:
    page = FormPage(
        "Sources",
        "Which release this is, what of others it carries, and under which licence.",
        back=(reverse("settings:overview"), "Settings"),
        before="settings/_sources.html",
        has_form=False,
    )
    return render_form_page(request, page, release=settings.RELEASE)


@require_http_methods(["GET", "POST"])
@owner_required
def edit_business(request: HttpRequest) -> HttpResponse:
    def build(row: Business, data: QueryDict | None) -> FormsOfPage:
        return FormsOfPage([BusinessForm(data, instance=row)])

    def save(row: Business, page: FormsOfPage) -> HttpResponse:
        values = page.only_form.cleaned_data
        actions.change_business(business=row, values=values, now=timezone.now())
        messages.success(request, "Saved.")
        return redirect("settings:overview")

    def show(row: Business, page: FormsOfPage, opened: dict[str, str]) -> HttpResponse:
        around = FormPage(
            "The business",
            back=(overview, "Settings"),
            fields="settings/_business_fields.html",
            cancel=overview,
        )
        return render_form_page(request, around, form=page.only_form, **opened)

    overview = reverse("settings:overview")
    edit = RecordEdit(Business.objects.all(), build, save, show, back=lambda row: overview)
    return edit_record(request, business_of(request).pk, edit)


@require_GET
@owner_required
def list_normals(request: HttpRequest) -> HttpResponse:
    rows = LocalNormals.objects.order_by("country", "region", "town")
    around = ListPage(
        "Wet days",
        "The program estimates the rain of every place. Where you have measured numbers, they count"
        " instead.",
        rows="settings/_normals.html",
        empty="Nothing entered. The estimate is in use everywhere.",
        back=(reverse("settings:overview"), "Settings"),
        actions=((reverse("settings:add_normals"), "Add a town"),),
    )
    return render_list_page(request, around, rows)


@require_http_methods(["GET", "POST"])
@owner_required
def add_normals(request: HttpRequest) -> HttpResponse:
    form = NormalsForm(request.POST or None)
    if form.is_valid():
        return save_normals(request, None, form)
    return render_normals_form(request, form, "a town")


@require_http_methods(["GET", "POST"])
@owner_required
def edit_normals(request: HttpRequest, pk: int) -> HttpResponse:
    def build(row: LocalNormals, data: QueryDict | None) -> FormsOfPage:
        return FormsOfPage([NormalsForm(data, normals=row)])

    def save(row: LocalNormals, page: FormsOfPage) -> HttpResponse:
        return save_normals(request, row, page.only_form)

    def show(row: LocalNormals, page: FormsOfPage, opened: dict[str, str]) -> HttpResponse:
        return render_normals_form(request, page.only_form, row.town, row=row, **opened)

    rows = LocalNormals.objects.all()
    edit = RecordEdit(rows, build, save, show, back=lambda row: reverse("settings:normals"))
    return edit_record(request, pk, edit)


def save_normals(request: HttpRequest, row: LocalNormals | None, form: NormalsForm) -> HttpResponse:
    kept = actions.save_local_normals(normals=row, values=form.values, now=timezone.now())
    messages.success(request, f"Saved for {kept.town}. The forecasts there follow.")
    return redirect("settings:normals")


def render_normals_form(
    request: HttpRequest, form: NormalsForm, town: str, **context: Any
) -> HttpResponse:
    towns = reverse("settings:normals")
    page = FormPage(
        f"Wet days of {town}",
        "Days with at least 1 mm of rain in each month of an average year.",
        back=(towns, "Wet days"),
        fields="settings/_normals_fields.html",
        cancel=towns,
    )
    return render_form_page(request, page, form=form, **context)
