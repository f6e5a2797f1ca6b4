"""What programs send goes through the forms of the pages, so that each rule stands once: a body is
written into a form, and the form's complaints are named by the fields of the body."""

import copy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.forms import BaseForm

from clients.actions.properties import NewAccount
from clients.forms.clients import ClientForm, contact_formset
from clients.forms.decks import DeckForm
from clients.forms.properties import PropertyForm
from clients.models import Business, Deck, User
from clients.notation import Units
from jobs.actions.jobs import JobInput
from jobs.forms.coats import COATS_PREFIX, NOT_KNOWN, RowChoices, bound_coat_formset
from jobs.forms.findings import CheckForm
from jobs.forms.job import JobForm
from jobs.forms.worked_hours import HOURS_PREFIX, WorkedHoursForm
from restorer.api.inputs import CheckIn, ClientIn, FindingsIn, JobIn, StrictIn
from restorer.api.problems import Mistake, MistakesError

WHOLE_DAY_LENGTH = len("2025-06-12")
OF_ALL = "__all__"


@dataclass(frozen=True)
class FilledForm:
    """A form, and where in the body it was filled from; fields of another name in the body."""

    form: BaseForm
    pointer: str = ""
    renamed: Mapping[str, str] | None = None

    def mistakes(self) -> list[Mistake]:
        suggestions = [str(place) for place in getattr(self.form, "suggestions", ())]
        return [
            Mistake(self.pointer_of(name), str(words), suggestions if name == "town" else ())
            for name, errors in self.form.errors.items()
            for words in errors
        ]

    def pointer_of(self, name: str) -> str:
        place = (self.renamed or {}).get(name, name)
        return self.pointer if name == OF_ALL else f"{self.pointer}/{place}"


def refuse_mistakes(filled: Sequence[FilledForm], others: Sequence[Mistake] = ()) -> None:
    """All forms are looked at, so that every mistake is named at once; raises `MistakesError`."""
    found = [mistake for each in filled for mistake in each.mistakes()]
    if found or others:
        raise MistakesError([*found, *others])


def metric(business: Business) -> Business:
    """The business as programs see it: SI, whatever people read."""
    row = copy.copy(business)
    row.units = Units.METRIC
    return row


def as_typed(values: Mapping[str, Any]) -> dict[str, str]:
    """Fields as a browser would have sent them."""
    return {
        name: "on" if value is True else str(value)
        for name, value in values.items()
        if value is not None and value is not False
    }


def own_fields(body: StrictIn) -> dict[str, Any]:
    """The fields of a body that hold one value each."""
    values = {name: getattr(body, name) for name in type(body).model_fields}
    return {name: value for name, value in values.items() if not isinstance(value, StrictIn | list)}


def rows_as_typed(prefix: str, rows: Sequence[Mapping[str, Any]]) -> dict[str, str]:
    """The rows of a form as a browser would have sent them."""
    data = {f"{prefix}-TOTAL_FORMS": str(len(rows)), f"{prefix}-INITIAL_FORMS": "0"}
    for number, row in enumerate(rows):
        data |= {f"{prefix}-{number}-{name}": value for name, value in as_typed(row).items()}
    return data


def filled_rows(formset: Any, pointer: str, renamed: Mapping[str, str]) -> list[FilledForm]:
    return [FilledForm(form, f"{pointer}/{number}", renamed) for number, form in enumerate(formset)]


def rows_mistakes(formset: Any, pointer: str) -> list[Mistake]:
    """What is wrong with the rows together."""
    return [Mistake(pointer, words) for words in formset.non_form_errors()]


def account_from_body(body: ClientIn, *, business: Business, today: date) -> NewAccount:
    """A client with property and deck. Raises `MistakesError`."""
    business = metric(business)
    client = ClientForm(as_typed(own_fields(body)))
    points = rows_as_typed("reach", [own_fields(point) for point in body.contact_points])
    place = own_fields(body.site)
    place["country"] = place["country"] or business.country
    site = PropertyForm(as_typed(place), business=business)
    reaches = contact_formset(points, client=None, country=place["country"])
    deck = DeckForm(as_typed(own_fields(body.deck)), business=business, today=today)
    forms = [
        FilledForm(client),
        FilledForm(site, "/site"),
        FilledForm(deck, "/deck"),
        *filled_rows(reaches, "/contact_points", {}),
    ]
    for form in forms:
        form.form.is_valid()
    reaches.is_valid()
    refuse_mistakes(forms, rows_mistakes(reaches, "/contact_points"))
    return NewAccount(client.cleaned_data, reaches.contacts, site.values, deck.cleaned_data)


def days_as_typed(finished_on: str) -> dict[str, str]:
    """A day, or what is known of it, in the fields of the page."""
    if len(finished_on) == WHOLE_DAY_LENGTH:
        return {"finished_on": finished_on}
    year, _, part = finished_on.partition("-")
    return {"known_year": year, "known_part": part}


@dataclass(frozen=True)
class JobWriter:
    """In whose name and on which day a job is written."""

    business: Business
    by: User
    today: date


def work_from_body(body: JobIn, deck: Deck, writer: JobWriter) -> JobInput:
    """What was done, found and put on. Raises `MistakesError`."""
    business = metric(writer.business)
    findings = own_fields(body.findings) if body.findings else {}
    typed = {**own_fields(body), **findings, "form_key": "00000000-0000-0000-0000-000000000000"}
    del typed["finished_on"]
    form = JobForm(
        as_typed(typed) | days_as_typed(body.finished_on),
        business=business,
        user=writer.by,
        today=writer.today,
        is_south=deck.site.is_south,
    )
    rows = [own_fields(coat) for coat in body.coats]
    for row in rows:
        row["product"] = row.pop("product_id") or NOT_KNOWN
    data: dict[str, Any] = {**rows_as_typed(COATS_PREFIX, rows)}
    for number, coat in enumerate(body.coats):
        data[f"{COATS_PREFIX}-{number}-surfaces"] = coat.surfaces or deck.surfaces
    coats = bound_coat_formset(data, RowChoices.load(deck, business.units))
    days = dict.fromkeys(["known_year", "known_part"], "finished_on")
    found = {name: f"findings/{name}" for name in FindingsIn.model_fields}
    forms = [
        FilledForm(form, "", days | found),
        *filled_rows(coats, "/coats", {"product": "product_id"}),
    ]
    names = [row.person for row in body.hours]
    people = {person.username: person for person in User.objects.filter(username__in=names)}
    refuse_mistakes(forms, [*rows_mistakes(coats, "/coats"), *unknown_people(body, people)])
    hours = hours_from_body(body, people)
    return JobInput(form.details(), coats.coats(), form.findings(), hours.hours())


def unknown_people(body: JobIn, people: Mapping[str, User]) -> list[Mistake]:
    names = [row.person for row in body.hours]
    words = "Nobody signs in by this name, or it stands here twice."
    return [
        Mistake(f"/hours/{number}/person", words)
        for number, name in enumerate(names)
        if name not in people or name in names[:number]
    ]


def hours_from_body(body: JobIn, people: Mapping[str, User]) -> WorkedHoursForm:
    """How long each of them was there. Raises `MistakesError`."""
    typed = {f"{HOURS_PREFIX}-{people[row.person].pk}": str(row.hours) for row in body.hours}
    form = WorkedHoursForm(typed, people=list(people.values()), planned=None)
    places = {str(people[row.person].pk): number for number, row in enumerate(body.hours)}
    refuse_mistakes([FilledForm(form, "/hours", {pk: f"{at}/hours" for pk, at in places.items()})])
    return form


def check_from_body(body: CheckIn) -> CheckForm:
    """A check, looked at. Raises `MistakesError`."""
    form = CheckForm(as_typed(own_fields(body)))
    refuse_mistakes([FilledForm(form)])
    return form
