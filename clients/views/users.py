"""Who may sign in, and as what; the owner's page."""

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods

from clients.access import current_user, office_required, owner_required
from clients.actions import business as actions
from clients.form_page import FormPage, render_form_page
from clients.forms.accounts import NewPersonForm, NoticesForm, PersonForm, PersonPasswordForm
from clients.models import User


@require_GET
@owner_required
def list_people(request: HttpRequest) -> HttpResponse:
    rows = User.objects.order_by("-is_active", "first_name", "username")
    return render(request, "settings/people.html", {"people": rows})


@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
@owner_required
def new_person(request: HttpRequest) -> HttpResponse:
    form = NewPersonForm(request.POST or None)
    if form.is_valid():
        values = form.cleaned_data
        person = actions.add_person(
            username=values["username"],
            name=values["name"],
            role=values["role"],
            password=values["password"],
        )
        messages.success(request, f"{person} may sign in as {person.username}.")
        return redirect("settings:people")
    return render_form_page(request, people_form("Add somebody", button="Add"), form=form)


@require_http_methods(["GET", "POST"])
@owner_required
def edit_person(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(User, pk=pk)
    initial = {"name": row.get_full_name(), "role": row.role, "is_active": row.is_active}
    form = PersonForm(request.POST or None, initial=initial)
    if form.is_valid():
        try:
            actions.change_person(person=row, **form.cleaned_data)
        except actions.LastOwnerError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, f"{row} is saved.")
            return redirect("settings:people")
    page = people_form(f"Change {row}", after="settings/_person_links.html")
    return render_form_page(request, page, form=form, person=row)


@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
@owner_required
def set_person_password(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(User, pk=pk)
    form = PersonPasswordForm(row, request.POST or None)
    if form.is_valid():
        actions.change_user_password(person=row, password=form.cleaned_data["new_password1"])
        if row.pk == request.user.pk:
            update_session_auth_hash(request, row)
        messages.success(
            request, f"{row} has a new password. Tell them, and ask them to change it."
        )
        return redirect("settings:people")
    page = people_form(f"New password for {row}", button="Set password")
    return render_form_page(request, page, form=form)


def people_form(title: str, **around: str) -> FormPage:
    """A form below the list of people."""
    people = reverse("settings:people")
    return FormPage(title, back=(people, "People"), cancel=people, **around)  # type: ignore[arg-type]


@require_http_methods(["GET", "HEAD", "POST"])
@office_required
def edit_own_notices(request: HttpRequest) -> HttpResponse:
    """The page `settings:notices`: how this person hears of what clients do."""
    person = User.objects.get(pk=current_user(request).pk)
    form = NoticesForm(request.POST or None, instance=person)
    if form.is_valid():
        form.save()
        messages.success(request, "Saved.")
        return redirect("settings:overview")
    settings = reverse("settings:overview")
    page = FormPage(
        "What I hear of",
        "A client accepts, asks, declines or unsubscribes; mail stands still; the plan of the week"
        " is ready. Nothing is mailed in the quiet times of the business.",
        back=(settings, "Settings"),
        cancel=settings,
    )
    return render_form_page(request, page, form=form)
