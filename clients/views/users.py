"""Who may sign in, and as what; the owner's page."""

from urllib.parse import urlencode

from django.contrib import messages
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from clients.actions import business as actions
from clients.actions import second_steps
from clients.actions.saving import NameTakenError
from clients.forms.accounts import (
    NewPersonForm,
    NoticesForm,
    PersonForm,
    PersonPasswordForm,
    SecondStepRolesForm,
)
from clients.messaging.readiness import is_mail_proven
from clients.models import User
from clients.pages import (
    FormPage,
    business_of,
    current_user,
    office_required,
    owner_required,
    render_form_page,
)
from clients.views.editing import FormsOfPage, RecordEdit, edit_record
from clients.views.sessions import (
    ask_for_proof,
    has_lately_proven,
    keep_session,
    proof_required,
)


@require_GET
@owner_required
def list_people(request: HttpRequest) -> HttpResponse:
    rows = User.objects.order_by("-is_active", "first_name", "username")
    required = business_of(request).second_step_roles
    context = {"people": rows, "roles_form": SecondStepRolesForm(initial={"roles": required})}
    return render(request, "settings/people.html", context)


@require_POST
@owner_required
@proof_required
def require_step_of_roles(request: HttpRequest) -> HttpResponse:
    """Which roles have to have one."""
    form = SecondStepRolesForm(request.POST)
    if form.is_valid():
        second_steps.require_second_step(
            business=business_of(request), roles=form.cleaned_data["roles"]
        )
        messages.success(request, "Saved. It counts from everybody's next sign-in on.")
    else:
        messages.error(request, "Tick roles of the list.")
    return redirect("settings:people")


@require_POST
@owner_required
@proof_required
def reset_step_of(request: HttpRequest, pk: int) -> HttpResponse:
    """For somebody who lost their telephone and their codes."""
    row = get_object_or_404(User, pk=pk)
    second_steps.reset_second_step(person=row, now=timezone.now())
    if row.pk == request.user.pk:
        keep_session(request)
    messages.success(request, f"{row} signs in with the password alone, and sets up a new one.")
    return redirect("settings:person", row.pk)


@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
@owner_required
def new_person(request: HttpRequest) -> HttpResponse:
    form = NewPersonForm(request.POST or None, may_invite=is_mail_proven(business_of(request)))
    if form.is_valid():
        names = ("username", "name", "role", "password", "email")
        values = {name: form.cleaned_data[name] for name in names}
        try:
            person = actions.add_person(**values, now=timezone.now())
        except NameTakenError as error:
            form.add_error(error.field, str(error))
        else:
            how = "" if values["password"] else f" An invitation goes to {person.email}."
            messages.success(request, f"{person} may sign in as {person.username}.{how}")
            return redirect("settings:people")
    return render_form_page(request, people_form("Add somebody", button="Add"), form=form)


@require_http_methods(["GET", "POST"])
@owner_required
def edit_person(request: HttpRequest, pk: int) -> HttpResponse:
    def build(row: User, data: QueryDict | None) -> FormsOfPage:
        initial = {"name": row.get_full_name(), "role": row.role, "is_active": row.is_active}
        initial["email"] = row.email
        return FormsOfPage([PersonForm(data, initial=initial)])

    def save(row: User, page: FormsOfPage) -> HttpResponse | None:
        form = page.only_form
        if asked := ask_before_new_address(request, row.email, form):
            return asked
        try:
            saved = actions.change_person(person=row, **form.cleaned_data)
        except actions.LastOwnerError as error:
            form.add_error(None, str(error))
            return None
        messages.success(request, f"{saved} is saved.")
        return redirect("settings:people")

    def show(row: User, page: FormsOfPage, opened: dict[str, str]) -> HttpResponse:
        form = page.only_form if request.method == "POST" else retyped(request, page.only_form)
        around = people_form(f"Change {row}", after="settings/_person_links.html")
        context = {"form": form, "person": row, "has_step": row.has_second_step, **opened}
        context["mails_links"] = bool(row.email) and is_mail_proven(business_of(request))
        return render_form_page(request, around, **context)

    people = User.objects.all()
    edit = RecordEdit(people, build, save, show, back=lambda row: reverse("settings:people"))
    return edit_record(request, pk, edit)


def retyped(request: HttpRequest, form: PersonForm) -> PersonForm:
    """With what was typed before the password was asked for, if that was so."""
    typed = {
        name: field.to_python(request.GET[name])
        for name, field in form.fields.items()
        if name in request.GET
    }
    return PersonForm(initial={**form.initial, **typed})


def ask_before_new_address(request: HttpRequest, held: str, form: BaseForm) -> HttpResponse | None:
    """For the password, unless the address stays as held or the password was typed lately: links
    that set a new one go there. What was typed comes back with the page."""
    is_same = form.cleaned_data["email"] == held
    if is_same or has_lately_proven(request, now=timezone.now()):
        return None
    return ask_for_proof(f"{request.path}?{urlencode(form.cleaned_data)}")


@require_POST
@owner_required
def mail_password_link(request: HttpRequest, pk: int) -> HttpResponse:
    """A link by which the person sets a password; nobody else ever knows it."""
    row = get_object_or_404(User, pk=pk, is_active=True)
    if not is_mail_proven(business_of(request)):
        messages.error(request, "Mail is not proven yet: Settings, Ready to send?")
    elif actions.send_password_link(person=row, now=timezone.now()):
        messages.success(request, f"A link goes to {row.email} within a minute or so.")
    else:
        messages.error(request, f"Enter an e-mail address of {row} first.")
    return redirect("settings:person", row.pk)


@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
@owner_required
@proof_required
def set_person_password(request: HttpRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(User, pk=pk)
    form = PersonPasswordForm(row, request.POST or None)
    if form.is_valid():
        actions.change_user_password(
            person=row, password=form.cleaned_data["new_password1"], now=timezone.now()
        )
        if row.pk == request.user.pk:
            keep_session(request)
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
    address = person.email
    typed = {name: request.GET[name] for name in NoticesForm.Meta.fields if name in request.GET}
    form = NoticesForm(request.POST or None, instance=person, initial=typed)
    if form.is_valid():
        if asked := ask_before_new_address(request, address, form):
            return asked
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
