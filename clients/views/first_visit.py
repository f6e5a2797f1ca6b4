"""The first visit: an empty book gets its business and the owner's account;
afterwards there is no such page."""

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from clients.actions import business as actions
from clients.forms.accounts import FirstVisitForm
from clients.pages import FormPage, render_form_page
from clients.views.sessions import start_session

FIRST_VISIT = FormPage(
    "Set up",
    "The name of the business and the account of its owner. The rest can wait.",
    fields="clients/_first_visit_fields.html",
    button="Set up",
)
TOO_LATE = "Somebody else opened this book a moment ago. Sign in with the account made then."


@login_not_required
@never_cache
@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
def first_visit(request: HttpRequest) -> HttpResponse:
    if request.business is not None:  # type: ignore[attr-defined]
        raise Http404
    form = FirstVisitForm(request.POST or None)
    if not form.is_valid():
        return render_form_page(request, FIRST_VISIT, form=form)
    values = form.cleaned_data
    try:
        owner = actions.open_business(
            values=form.business_values,
            username=values["username"],
            name=values["name"],
            password=values["password"],
        )
    except actions.BusinessExistsError:
        messages.error(request, TOO_LATE)
        return redirect("sign_in")
    response = start_session(
        request, owner, is_trusted=False, response=redirect("settings:business")
    )
    messages.success(request, "All set. Next: the address and the season of the business.")
    return response
