"""Pages that add, change and archive a deck.
What happened on it stands on the deck's own page, in reminders."""

from django.contrib import messages
from django.db import IntegrityError
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from clients.actions import properties as actions
from clients.forms.decks import DeckForm
from clients.models import Deck, DeckMerge, Property
from clients.pages import FormPage, business_of, office_required, render_form_page
from clients.views.editing import FormsOfPage, RecordEdit, edit_record

LABEL_TAKEN = "Somebody has just given another deck of this property that name. Choose another."


@require_http_methods(["GET", "POST"])
def new_deck(request: HttpRequest, pk: int) -> HttpResponse:
    home = get_object_or_404(Property.objects.select_related("client"), pk=pk)
    now = timezone.now()
    business = business_of(request)
    form = DeckForm(request.POST or None, business=business, today=business.today(now), home=home)
    if form.is_valid():
        try:
            deck = actions.add_deck(site=home, values=form.cleaned_data, now=now)
        except IntegrityError:
            form.add_error("label", LABEL_TAKEN)
        else:
            messages.success(request, f"{deck.label} is saved.")
            return redirect("decks:detail", deck.pk)
    page = FormPage(
        "New deck",
        home.address,
        fields="clients/_deck_form.html",
        cancel=reverse("clients:detail", args=[home.client_id]),
    )
    crumbs = {"client": home.client, "home": home, "leaf": "New deck"}
    return render_form_page(request, page, form=form, crumbs=crumbs)


@require_http_methods(["GET", "POST"])
def edit_deck(request: HttpRequest, pk: int) -> HttpResponse:
    now = timezone.now()
    business = business_of(request)

    def build(deck: Deck, data: QueryDict | None) -> FormsOfPage:
        today = business.today(now)
        return FormsOfPage(
            [DeckForm(data, business=business, today=today, home=deck.site, deck=deck)]
        )

    def save(deck: Deck, page: FormsOfPage) -> HttpResponse | None:
        try:
            saved = actions.change_deck(deck=deck, values=page.only_form.cleaned_data, now=now)
        except IntegrityError:
            page.only_form.add_error("label", LABEL_TAKEN)
            return None
        messages.success(request, f"{saved.label} is saved.")
        return redirect("decks:detail", deck.pk)

    def show(deck: Deck, page: FormsOfPage, opened: dict[str, str]) -> HttpResponse:
        around = FormPage(
            "Change deck",
            deck.site.address,
            fields="clients/_deck_form.html",
            after="clients/_deck_after.html",
            cancel=deck_page(deck),
        )
        home = deck.site
        crumbs = {"client": home.client, "home": home, "deck": deck, "leaf": "Change"}
        context = {"form": page.only_form, "crumbs": crumbs, "deck": deck, **opened}
        context["merges"] = DeckMerge.objects.standing_of(deck.pk)
        return render_form_page(request, around, **context)

    edit = RecordEdit(Deck.objects.with_owner(), build, save, show, back=deck_page)
    return edit_record(request, pk, edit)


def deck_page(deck: Deck) -> str:
    return reverse("decks:detail", args=[deck.pk])


@require_POST
@office_required
def archive_deck_view(request: HttpRequest, pk: int) -> HttpResponse:
    deck = get_object_or_404(Deck, pk=pk)
    actions.archive_deck(deck=deck, now=timezone.now())
    messages.success(request, f"{deck.label} is archived; its history stays.")
    return redirect("decks:detail", deck.pk)


@require_POST
@office_required
def unarchive_deck_view(request: HttpRequest, pk: int) -> HttpResponse:
    deck = get_object_or_404(Deck, pk=pk)
    actions.unarchive_deck(deck=deck, now=timezone.now())
    messages.success(request, f"{deck.label} is back.")
    return redirect("decks:detail", deck.pk)
