"""Pages about a client: what we know, how to reach them, what they allow and what was said to
them."""

import uuid
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.forms import all_valid
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from clients.actions import clients as actions
from clients.actions import properties
from clients.actions.receiving import receive_once, typed_form_key, was_received
from clients.doubles import LikelyDouble, clients_like
from clients.forms.clients import ClientForm, ConsentForm, contact_formset
from clients.forms.decks import DeckForm
from clients.forms.properties import PropertyForm
from clients.messaging.law import RuleSummary
from clients.messaging.law_page import channel_permissions
from clients.models import Client
from clients.pages import (
    FormPage,
    business_of,
    business_today,
    current_user,
    office_required,
    render_form_page,
)
from clients.views.editing import FormsOfPage, RecordEdit, edit_record

MESSAGES_SHOWN = 50
NEW_ACCOUNT = FormPage(
    "New client",
    "The client, the property and the first deck; the rest can wait.",
    fields="clients/_account_fields.html",
    button="Save client and deck",
    cancel="/clients/",
    kept="New client",
)


def phone_country(client: Client | None, request: HttpRequest) -> str:
    """Where the client's numbers are read: at the oldest property, else at the business."""
    home = client.properties.order_by("id").first() if client else None
    return home.country if home else business_of(request).country


@require_http_methods(["GET", "POST"])
def open_client_account(request: HttpRequest) -> HttpResponse:
    """Client, property and deck on one page, in one transaction."""
    data = request.POST or None
    business = business_of(request)
    client = ClientForm(data, prefix="client")
    reach = contact_formset(data, client=None, country=typed_country(request))
    home = PropertyForm(data, business=business, prefix="property")
    deck = DeckForm(data, business=business, today=business_today(request), prefix="deck")
    likely: list[LikelyDouble] = []
    if data and all_valid([client, reach, home, deck]):  # type: ignore[arg-type] # forms will do
        parts = properties.NewAccount(
            client.cleaned_data, reach.contacts, home.values, deck.cleaned_data
        )
        name = client.cleaned_data["name"]
        likely = clients_like_new(request, parts, timezone.now())
        if not likely:
            address, is_new = save_account_once(request, parts)
            said = f"{name} is saved." if is_new else f"{name} was in the book already."
            report_saved(request, said, [*reach.warnings, *home.warnings])
            return redirect(address)
    context = {
        "likely": likely,
        "client_form": client,
        "reach": reach,
        "property_form": home,
        "deck_form": deck,
        "form_key": typed_form_key(request.POST) or uuid.uuid4(),
    }
    context |= error_summary([client, *reach.forms, home, deck])
    return render_form_page(request, NEW_ACCOUNT, **context)


def save_account_once(request: HttpRequest, parts: properties.NewAccount) -> tuple[str, bool]:
    """The address of the new deck, and whether this form was not taken before."""
    by = current_user(request)
    now = timezone.now()

    def write() -> str:
        deck = properties.open_account(new=parts, by=by, now=now)
        return reverse("decks:detail", args=[deck.pk])

    return receive_once(form_key=typed_form_key(request.POST), by=by, now=now, write=write)


def clients_like_new(
    request: HttpRequest, new: properties.NewAccount, now: datetime
) -> list[LikelyDouble]:
    """Clients of the book who may be this one, unless it was said that it is somebody else, or a
    first click has just made it."""
    is_known = was_received(typed_form_key(request.POST))
    if is_known or "somebody_else" in request.POST or properties.opened_before(new=new, now=now):
        return []
    return clients_like(
        name=new.client["name"],
        contacts=[contact.normalized() for contact in new.reaches],
        street=new.site["street"],
        town=new.site["town"],
    )


def error_summary(forms: list[Any]) -> dict[str, Any]:
    """For the one summary of mistakes at the top of the page."""
    return {"forms": forms, "has_errors": any(form.errors for form in forms if form.is_bound)}


def typed_country(request: HttpRequest) -> str:
    """Numbers are read as in the country of the property on the same page."""
    typed = request.POST.get("property-country", "").strip().upper()
    return typed if len(typed) == 2 else business_of(request).country


@require_http_methods(["GET", "POST"])
def edit_client(request: HttpRequest, pk: int) -> HttpResponse:
    def build(client: Client, data: QueryDict | None) -> FormsOfPage:
        reach = contact_formset(data, client=client, country=phone_country(client, request))
        return FormsOfPage([ClientForm(data, instance=client)], [reach])

    def save(client: Client, page: FormsOfPage) -> HttpResponse:
        reach: Any = page.formsets[0]
        saved = actions.change_client(
            client=client,
            values=page.only_form.cleaned_data,
            contacts=reach.contacts,
            removed=reach.removed,
            by=current_user(request),
            now=timezone.now(),
        )
        report_saved(request, f"{saved.name} is saved.", reach.warnings)
        return redirect("clients:detail", client.pk)

    def show(client: Client, page: FormsOfPage, opened: dict[str, str]) -> HttpResponse:
        form, reach = page.only_form, page.formsets[0]
        around = FormPage(
            f"Change {client.name}",
            fields="clients/_client_fields.html",
            cancel=client_page(client),
        )
        crumbs = {"client": client, "leaf": "Change"}
        context = {"form": form, "reach": reach, "client": client, "crumbs": crumbs, **opened}
        context |= error_summary([form, *reach.forms])
        return render_form_page(request, around, **context)

    edit = RecordEdit(Client.objects.all(), build, save, show, back=client_page)
    return edit_record(request, pk, edit)


def client_page(client: Client) -> str:
    return reverse("clients:detail", args=[client.pk])


def report_saved(request: HttpRequest, done: str, warnings: list[str]) -> None:
    messages.success(request, done)
    for warning in warnings:
        messages.warning(request, warning)


@require_http_methods(["GET", "POST"])
def add_consent(request: HttpRequest, pk: int) -> HttpResponse:
    client = get_object_or_404(Client, pk=pk)
    form = ConsentForm(
        request.POST or None,
        client=client,
        business=business_of(request),
        today=business_today(request),
        initial={"asked_by": str(current_user(request))},
    )
    if form.is_valid():
        consent = actions.record_consent(
            client=client,
            entry=actions.ConsentInput(**form.cleaned_data),
            by=current_user(request),
            now=timezone.now(),
        )
        messages.success(request, f"Kept: {consent}.")
        return redirect("clients:detail", client.pk)
    rules = [
        RuleSummary(each.rule)
        for each in channel_permissions(client, business_of(request), today=business_today(request))
    ]
    page = FormPage(
        "Consent given or withdrawn",
        "One entry per channel. Entries are never changed; the latest one counts.",
        fields="clients/_consent_fields.html",
        cancel=reverse("clients:detail", args=[client.pk]),
    )
    crumbs = {"client": client, "leaf": "Consent"}
    return render_form_page(request, page, form=form, rules=rules, crumbs=crumbs)


@require_POST
@office_required
def archive_client_view(request: HttpRequest, pk: int) -> HttpResponse:
    client = get_object_or_404(Client, pk=pk)
    actions.archive_client(client=client, by=current_user(request), now=timezone.now())
    messages.success(
        request, f"{client.name} is archived. Nothing is sent any more; the history stays."
    )
    return redirect("clients:detail", client.pk)


@require_POST
@office_required
def unarchive_client_view(request: HttpRequest, pk: int) -> HttpResponse:
    client = get_object_or_404(Client, pk=pk)
    actions.unarchive_client(client=client, by=current_user(request), now=timezone.now())
    messages.success(request, f"{client.name} is back.")
    return redirect("clients:detail", client.pk)
