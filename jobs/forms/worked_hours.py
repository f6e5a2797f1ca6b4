"""How long each of the crew was at a job."""

from collections.abc import Collection, Mapping, Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.db.models import Q
from django.utils.html import format_html

from clients import display
from clients.forms.fields import TypedNumberField
from clients.models import User, is_primary_key
from jobs.models import MAX_HOURS, Booking, Job

HOURS_PREFIX = "hours"
QUARTER = Decimal("0.25")


class WorkedHoursForm(forms.Form):
    """A field a person, named by their number; nobody is made to fill one in."""

    as_planned = forms.BooleanField(required=False)

    def __init__(
        self,
        data: Mapping[str, Any] | None,
        *,
        people: Sequence[User],
        planned: Decimal | None,
        initial: Mapping[str, Any] | None = None,
    ) -> None:
        super().__init__(data, prefix=HOURS_PREFIX, initial=dict(initial or {}))
        self.people = people
        self.share = planned_share(planned, people)
        for person in people:
            self.fields[str(person.pk)] = hours_field(person)
        if self.share:
            words = f"As planned: {display.format_number(self.share)} h each"
            self.fields["as_planned"].label = words
        else:
            del self.fields["as_planned"]

    @property
    def of_people(self) -> list[forms.BoundField]:
        return [self[str(person.pk)] for person in self.people]

    def hours(self) -> dict[int, Decimal] | None:
        """By the number of the person; None where the page did not ask. A tick at *as planned*
        fills only what nobody typed."""
        values = self.cleaned_data
        if not any(name.startswith(f"{HOURS_PREFIX}-") for name in self.data):
            return None
        rest = self.share if values.get("as_planned") else None
        found = {person.pk: values[str(person.pk)] or rest for person in self.people}
        return {pk: hours for pk, hours in found.items() if hours}


def hours_field(person: User) -> TypedNumberField:
    field = TypedNumberField(
        label=format_html("<bdi>{}</bdi>, h", str(person)),
        required=False,
        min_value=QUARTER,
        max_value=MAX_HOURS,
        decimal_places=2,
        error_messages={
            "min_value": "At least a quarter of an hour, or leave it empty.",
            "max_value": f"At most {MAX_HOURS} hours of one person at one job.",
        },
    )
    field.widget.attrs["data-told-as"] = "h"
    return field


def planned_share(planned: Decimal | None, people: Sequence[User]) -> Decimal | None:
    """Of each person, to a quarter of an hour, at least one; None where nothing was planned."""
    if not planned or not people:
        return None
    quarters = round(planned / len(people) / QUARTER)
    return max(quarters, 1) * QUARTER


def people_at_work(
    by: User, *, booking: Booking | None, job: Job | None, data: Mapping[str, Any]
) -> list[User]:
    """Who is asked for: the people of the booking's crew, else of one's own crews, else oneself;
    and whoever has hours at the job or on the page that was sent."""
    crew = Q(crews=booking.crew_id) if booking else Q(crews__is_active=True, crews__people=by.pk)
    with_hours = job.hours_worked.values_list("person", flat=True) if job else []
    named = Q(pk__in=[*with_hours, *posted_people(data)])
    rows = User.objects.filter(named | crew & Q(is_active=True)).order_by("pk").distinct()
    return list(rows) or [by]


def posted_people(data: Collection[str]) -> set[int]:
    """Of the fields that were sent, whose hours they are."""
    ends = (name.removeprefix(f"{HOURS_PREFIX}-") for name in data if name.startswith(HOURS_PREFIX))
    return {int(end) for end in ends if is_primary_key(end)}
