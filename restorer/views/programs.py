"""The owner's page of programs and devices that read and write the book: each has a token, shown
once."""

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from clients.pages import current_user, owner_required
from restorer.api import TokenTakenError, make_api_token, revoke_api_token
from restorer.models import ApiToken


class ProgramForm(forms.Form):
    """A program or device, and what it may do."""

    name = forms.CharField(
        label="Program or device", max_length=80, help_text="Such as Accounts, or Tablet in van 2."
    )
    role = forms.ChoiceField(
        label="It may", choices=ApiToken.Role.choices, initial=ApiToken.Role.READ
    )

    def clean_name(self) -> str:
        return " ".join(self.cleaned_data["name"].split())


@require_GET
@owner_required
def show_programs(request: HttpRequest) -> HttpResponse:
    return render_programs(request, ProgramForm())


@require_POST
@owner_required
def add_program(request: HttpRequest) -> HttpResponse:
    """The page once more, with the new token on it."""
    form = ProgramForm(request.POST)
    if not form.is_valid():
        return render_programs(request, form)
    try:
        row, token = make_api_token(
            **form.cleaned_data, by=current_user(request), now=timezone.now()
        )
    except TokenTakenError as error:
        form.add_error("name", str(error))
        return render_programs(request, form)
    return render_programs(request, ProgramForm(), new=row, token=token)


def render_programs(
    request: HttpRequest, form: ProgramForm, *, new: ApiToken | None = None, token: str = ""
) -> HttpResponse:
    rows = ApiToken.objects.for_list()
    context = {"form": form, "rows": rows, "new": new, "token": token}
    response = render(request, "restorer/programs.html", context)
    if token:
        response["Cache-Control"] = "private, no-store"
    return response


@require_POST
@owner_required
def end_program(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(ApiToken, pk=pk)
    revoke_api_token(row=row, now=timezone.now())
    messages.success(request, f"{row.name} can no longer open the book.")
    return redirect("programs")
