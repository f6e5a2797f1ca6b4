"""Pages that add and change a property."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clients.access import business_of
from clients.actions import properties as actions
from clients.form_page import FormPage, render_form_page
from clients.forms.properties import PropertyForm
from clients.models import Client, Property


@require_http_methods(["GET", "POST"])
def new_property(request: HttpRequest, pk: int) -> HttpResponse:
    client = get_object_or_404(Client, pk=pk)
    form = PropertyForm(request.POST or None, business=business_of(request))
    if form.is_valid():
        home = actions.add_property(client=client, values=form.values, now=timezone.now())
        messages.success(request, f"{home.address} is saved. Now its deck.")
        return redirect("deck_forms:new", home.pk)
    return render_property_form(request, form, client, "New property")


@require_http_methods(["GET", "POST"])
def edit_property(request: HttpRequest, pk: int) -> HttpResponse:
    home = get_object_or_404(Property.objects.select_related("client"), pk=pk)
    form = PropertyForm(request.POST or None, business=business_of(request), home=home)
    if form.is_valid():
        actions.change_property(site=home, values=form.values, now=timezone.now())
        messages.success(request, f"{home.address} is saved.")
        return redirect("clients:detail", home.client_id)
    return render_property_form(request, form, home.client, "Change property")


def render_property_form(
    request: HttpRequest, form: PropertyForm, client: Client, title: str
) -> HttpResponse:
    page = FormPage(
        title,
        fields="clients/_property_form.html",
        cancel=reverse("clients:detail", args=[client.pk]),
    )
    crumbs = {"client": client, "leaf": "Property"}
    return render_form_page(request, page, form=form, crumbs=crumbs)
