"""Pages that add and change a property."""

from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clients.actions import properties as actions
from clients.forms.properties import PropertyForm
from clients.models import Client, Property
from clients.pages import FormPage, business_of, render_form_page
from clients.views.clients import client_page, report_saved
from clients.views.editing import FormsOfPage, RecordEdit, edit_record


@require_http_methods(["GET", "POST"])
def new_property(request: HttpRequest, pk: int) -> HttpResponse:
    client = get_object_or_404(Client, pk=pk)
    form = PropertyForm(request.POST or None, business=business_of(request))
    if form.is_valid():
        home = actions.add_property(client=client, values=form.values, now=timezone.now())
        report_saved(request, f"{home.address} is saved. Now its deck.", form.warnings)
        return redirect("deck_forms:new", home.pk)
    return render_property_form(request, form, client, "New property")


@require_http_methods(["GET", "POST"])
def edit_property(request: HttpRequest, pk: int) -> HttpResponse:
    def build(home: Property, data: QueryDict | None) -> FormsOfPage:
        return FormsOfPage([PropertyForm(data, business=business_of(request), home=home)])

    def save(home: Property, page: FormsOfPage) -> HttpResponse:
        form: Any = page.only_form
        saved = actions.change_property(site=home, values=form.values, now=timezone.now())
        report_saved(request, f"{saved.address} is saved.", form.warnings)
        return redirect("clients:detail", home.client_id)

    def show(home: Property, page: FormsOfPage, opened: dict[str, str]) -> HttpResponse:
        return render_property_form(
            request, page.only_form, home.client, "Change property", home=home, **opened
        )

    rows = Property.objects.select_related("client")
    edit = RecordEdit(rows, build, save, show, back=lambda home: client_page(home.client))
    return edit_record(request, pk, edit)


def render_property_form(
    request: HttpRequest, form: PropertyForm, client: Client, title: str, **context: Any
) -> HttpResponse:
    page = FormPage(title, fields="clients/_property_form.html", cancel=client_page(client))
    crumbs = {"client": client, "leaf": "Property"}
    return render_form_page(request, page, form=form, crumbs=crumbs, **context)
