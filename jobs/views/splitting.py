"""One client, or one deck, that is really two: what goes to the other is ticked."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
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
DECK_PARTS = ("job", "visit", "photo", "document")
Choices = list[tuple[str, str, list[tuple[int, str]]]]  # legend, name of the field, key and words


@dataclass(frozen=True)
class SplitPage:
    """What the page says and asks: `what` is “client” or “deck”, `back` where one comes from."""

    what: str
    name: str
    lead: str
    back: str
    choices: Callable[[], Choices]
    crumbs: dict[str, Any]


def answer_split(
    request: HttpRequest, around: SplitPage, split: Callable[[str], HttpResponse]
) -> HttpResponse:
    """Split with the name that was typed, or show the page; again if it was refused."""
    typed = request.POST.get("name", "").replace("\x00", "")[: MAX_NAME[around.what]]
    if request.method == "POST":
        try:
            return split(typed)
        except splitting.SplitError as error:
            messages.error(request, str(error))
    page = FormPage(
        f"{around.name}: two {around.what}s?",
        around.lead,
        fields="jobs/_split_fields.html",
        button=f"Split: two {around.what}s",
        cancel=around.back,
    )
    return render_form_page(
        request,
        page,
        label=f"Name of the other {around.what}",
        typed=typed,
        most=MAX_NAME[around.what],
        choices=around.choices(),
        chosen=chosen_of(request),
        crumbs={**around.crumbs, "leaf": "Split"},
    )


@office_required
@require_http_methods(["GET", "HEAD", "POST"])
def split_client_page(request: HttpRequest, pk: int) -> HttpResponse:
    """The page `jobs:split_client`."""
    rows = Client.objects.prefetch_related("properties__decks", "contact_points")
    client = get_object_or_404(rows, pk=pk)

    def split(name: str) -> HttpResponse:
        part = splitting.ClientPart(name, keys_of(request, "site"), keys_of(request, "point"))
        other = splitting.split_client(
            client=client, part=part, by=current_user(request), now=timezone.now()
        )
        messages.success(request, f"{client.name} and {other.name} are two clients now.")
        return redirect("clients:detail", other.pk)

    around = SplitPage(
        "client",
        client.name,
        "Tick what is the other one’s. Decks, offers and visits go with their property. Consents"
        " and messages stay here; what was withdrawn stays withdrawn for both.",
        back=reverse("clients:detail", args=[pk]),
        choices=partial(client_choices, client),
        crumbs={"client": client},
    )
    return answer_split(request, around, split)


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

    def split(name: str) -> HttpResponse:
        parts = {f"{each}s": keys_of(request, each) for each in DECK_PARTS}
        part = splitting.DeckPart(name.strip() or deck.label, **parts)
        other = splitting.split_deck(deck=deck, part=part, now=timezone.now())
        messages.success(
            request, f"{deck.label} and {other.label} are two decks now. Enter their sizes."
        )
        return redirect("deck_forms:edit", other.pk)

    around = SplitPage(
        "deck",
        deck.label,
        "Tick what is of the other one. Photos and grades of a job go with it. The other deck"
        " begins with the same wood and wear, and without a size.",
        back=reverse("decks:detail", args=[pk]),
        choices=partial(deck_choices, deck),
        crumbs={"client": deck.site.client, "home": deck.site, "deck": deck},
    )
    return answer_split(request, around, split)


def deck_choices(deck: Deck) -> Choices:
    jobs = deck.jobs.with_coats().select_related("deck__site").order_by("-finished_on", "-id")
    visits = Visit.objects.filter(deck=deck, job=None).order_by("-visited_on", "-id")
    photos = deck.photos.filter(job=None, defect=None)  # those of a defect stay with it
    return [
        ("Jobs", "job", [(job.pk, job_choice(job)) for job in jobs]),
        ("Checks", "visit", [(visit.pk, f"{visit.visited_on:%Y-%m-%d}") for visit in visits]),
        ("Photos of no job", "photo", [(row.pk, f"{row}, {row.taken_on}") for row in photos]),
        ("Documents", "document", [(each.pk, each.title) for each in deck.documents.all()]),
    ]


def job_choice(job: Any) -> str:
    coats = ", ".join(
        f"{coat.product_words} on {coat.surfaces_words.lower()}" for coat in job.coats_applied.all()
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
