"""Pages that add and change a property."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clients.access import business_of
from clients.actions import properties as actions
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
    return render(request, "clients/property_form.html", {"property_form": form, "client": client})


@require_http_methods(["GET", "POST"])
def edit_property(request: HttpRequest, pk: int) -> HttpResponse:
    home = get_object_or_404(Property.objects.select_related("client"), pk=pk)
    form = PropertyForm(request.POST or None, business=business_of(request), home=home)
    if form.is_valid():
        actions.change_property(site=home, values=form.values, now=timezone.now())
        messages.success(request, f"{home.address} is saved.")
        return redirect("clients:detail", home.client_id)
    context = {"property_form": form, "client": home.client, "home": home}
    return render(request, "clients/property_form.html", context)
