"""The client has seen a test patch: which colour, who said so, and when."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from clients.pages import FormPage, business_today, current_user, render_form_page
from jobs.actions.colour_approval import approve_colour
from jobs.actions.jobs import JobError
from jobs.forms.colour_approval import ColourApprovalForm
from jobs.models import Product
from jobs.views.log import deck_by_number


@require_http_methods(["GET", "HEAD", "POST"])
def new_colour_approval(request: HttpRequest, pk: int) -> HttpResponse:
    """The page `jobs:colour`."""
    deck = deck_by_number(str(pk))
    if deck is None:
        raise Http404("There is no such deck.")
    today = business_today(request)
    finishes = Product.objects.finishes().in_use()
    initial = {"approved_on": today}
    form = ColourApprovalForm(request.POST or None, finishes=finishes, initial=initial)
    if request.method == "POST" and form.is_valid():
        values = form.cleaned_data
        try:
            approve_colour(
                deck=deck,
                finish=form.chosen,
                name=values["approved_by"],
                day=values["approved_on"],
                by=current_user(request),
                today=today,
            )
        except JobError as error:
            form.add_error(error.field, str(error))
        else:
            messages.success(request, "The colour is approved.")
            return redirect("decks:detail", deck.pk)
    home = deck.site
    page = FormPage(
        "Colour approved",
        "They have seen the dry test patch.",
        cancel=reverse("decks:detail", args=[deck.pk]),
    )
    crumbs = {"client": home.client, "home": home, "deck": deck, "leaf": "Colour"}
    return render_form_page(request, page, form=form, crumbs=crumbs)
