"""Who may sign in, and as what; the owner's page."""

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods

from clients.access import current_user, office_required, owner_required
from clients.actions import business as actions
from clients.actions.saving import NameTakenError
from clients.form_page import FormPage, render_form_page
from clients.forms.accounts import NewPersonForm, NoticesForm, PersonForm, PersonPasswordForm
from clients.models import User
from clients.views.editing import FormsOfPage, RecordEdit, edit_record


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
        values = {
            name: form.cleaned_data[name] for name in ("username", "name", "role", "password")
        }
        try:
            person = actions.add_person(**values, now=timezone.now())
        except NameTakenError as error:
            form.add_error(error.field, str(error))
        else:
            messages.success(request, f"{person} may sign in as {person.username}.")
            return redirect("settings:people")
    return render_form_page(request, people_form("Add somebody", button="Add"), form=form)


@require_http_methods(["GET", "POST"])
@owner_required
def edit_person(request: HttpRequest, pk: int) -> HttpResponse:
    def build(row: User, data: QueryDict | None) -> FormsOfPage:
        initial = {"name": row.get_full_name(), "role": row.role, "is_active": row.is_active}
        return FormsOfPage([PersonForm(data, initial=initial)])

    def save(row: User, page: FormsOfPage) -> HttpResponse | None:
        form = page.only_form
        try:
            saved = actions.change_person(person=row, **form.cleaned_data)
        except actions.LastOwnerError as error:
            form.add_error(None, str(error))
            return None
        messages.success(request, f"{saved} is saved.")
        return redirect("settings:people")

    def show(row: User, page: FormsOfPage, opened: dict[str, str]) -> HttpResponse:
        around = people_form(f"Change {row}", after="settings/_person_links.html")
        return render_form_page(request, around, form=page.only_form, person=row, **opened)

    people = User.objects.all()
    edit = RecordEdit(people, build, save, show, back=lambda row: reverse("settings:people"))
    return edit_record(request, pk, edit)


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
