"""One client, or one deck, that is really two: what goes to the other is ticked."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from clients.models import Client, Deck, primary_keys
from clients.pages import FormPage, current_user, office_required, render_form_page
from jobs.actions import splitting
from jobs.models import Visit

MAX_NAME = {"client": 200, "deck": 80}
Choices = list[tuple[str, str, list[tuple[int, str]]]]  # legend, name of the field, key and words


@office_required
@require_http_methods(["GET", "HEAD", "POST"])
def split_client_page(request: HttpRequest, pk: int) -> HttpResponse:
    """The page `jobs:split_client`."""
    rows = Client.objects.prefetch_related("properties__decks", "contact_points")
    client = get_object_or_404(rows, pk=pk)
    typed = request.POST.get("name", "").replace("\x00", "")[: MAX_NAME["client"]]
    if request.method == "POST":
        part = splitting.ClientPart(typed, keys_of(request, "site"), keys_of(request, "point"))
        try:
            other = splitting.split_client(
                client=client, part=part, by=current_user(request), now=timezone.now()
            )
        except splitting.SplitError as error:
            messages.error(request, str(error))
        else:
            messages.success(request, f"{client.name} and {other.name} are two clients now.")
            return redirect("clients:detail", other.pk)
    page = FormPage(
        f"{client.name}: two clients?",
        "Tick what is the other one’s. Decks, offers and visits go with their property. Consents"
        " and messages stay here; what was withdrawn stays withdrawn for both.",
        fields="jobs/_split_fields.html",
        button="Split: two clients",
        cancel=reverse("clients:detail", args=[pk]),
    )
    return render_form_page(
        request,
        page,
        label="Name of the other client",
        typed=typed,
        most=MAX_NAME["client"],
        choices=client_choices(client),
        chosen=chosen_of(request),
        crumbs={"client": client, "leaf": "Split"},
    )


def client_choices(client: Client) -> Choices:
    sites = [
        (site.pk, ": ".join(filter(None, [site.address, deck_choice(site)])))
        for site in client.properties.all()
    ]
    points = [
        (point.pk, f"{point.value} ({point.get_kind_display()})")
        for point in client.contact_points.all()
    ]
    return [("Properties", "site", sites), ("Numbers and addresses", "point", points)]


def deck_choice(site: Any) -> str:
    return ", ".join(deck.label for deck in site.decks.all())


@office_required
@require_http_methods(["GET", "HEAD", "POST"])
def split_deck_page(request: HttpRequest, pk: int) -> HttpResponse:
    """The page `jobs:split_deck`."""
    deck = get_object_or_404(Deck.objects.with_owner(), pk=pk)
    typed = request.POST.get("name", "").replace("\x00", "").strip()[: MAX_NAME["deck"]]
    if request.method == "POST":
        parts = {f"{each}s": keys_of(request, each) for each in ("job", "visit", "photo")}
        part = splitting.DeckPart(
            typed or deck.label, documents=keys_of(request, "document"), **parts
        )
        try:
            other = splitting.split_deck(deck=deck, part=part, now=timezone.now())
        except splitting.SplitError as error:
            messages.error(request, str(error))
        else:
            messages.success(
                request, f"{deck.label} and {other.label} are two decks now. Enter their sizes."
            )
            return redirect("deck_forms:edit", other.pk)
    page = FormPage(
        f"{deck.label}: two decks?",
        "Tick what is of the other one. Photos and grades of a job go with it. The other deck"
        " begins with the same wood and wear, and without a size.",
        fields="jobs/_split_fields.html",
        button="Split: two decks",
        cancel=reverse("decks:detail", args=[pk]),
    )
    home = deck.site
    return render_form_page(
        request,
        page,
        label="Name of the other deck",
        typed=typed,
        most=MAX_NAME["deck"],
        choices=deck_choices(deck),
        chosen=chosen_of(request),
        crumbs={"client": home.client, "home": home, "deck": deck, "leaf": "Split"},
    )


def deck_choices(deck: Deck) -> Choices:
    jobs = deck.jobs.with_coats().select_related("deck__site").order_by("-finished_on", "-id")
    visits = Visit.objects.filter(deck=deck, job=None).order_by("-visited_on", "-id")
    return [
        ("Jobs", "job", [(job.pk, job_choice(job)) for job in jobs]),
        ("Checks", "visit", [(visit.pk, f"{visit.visited_on:%Y-%m-%d}") for visit in visits]),
        (
            "Photos of no job",
            "photo",
            [(photo.pk, f"{photo}, {photo.taken_on}") for photo in deck.photos.filter(job=None)],
        ),
        ("Documents", "document", [(each.pk, each.title) for each in deck.documents.all()]),
    ]


def job_choice(job: Any) -> str:
    coats = ", ".join(
        f"{coat.product_words} on {coat.get_surface_display().lower()}"
        for coat in job.coats_applied.all()
    )
    return f"{job.get_kind_display()}, {job.day_words}" + (f": {coats}" if coats else "")


def keys_of(request: HttpRequest, name: str) -> list[int]:
    return primary_keys(request.POST.getlist(name))


def chosen_of(request: HttpRequest) -> set[str]:
    """What was ticked before the page came back: “job-7”."""
    return {
        f"{name}-{value}"
        for name, values in request.POST.lists()
        if name != "name"
        for value in values
    }
