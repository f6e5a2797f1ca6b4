"""Forms of the diary: book work, move it, hold it, call it off."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError

from clients import display
from clients.forms.fields import TypedNumberField, needed_with_others, textarea
from clients.models import Deck
from jobs.arrival import Arrival
from jobs.diary import PlacementSuggestion, Proximity
from jobs.forms.fields import DayField
from jobs.models import Crew

OTHER_DAY = "other"


class HoursField(TypedNumberField):
    def prepare_value(self, value: Any) -> Any:
        """Hours without trailing zeros; what was typed stays as it is."""
        return f"{value.normalize():f}" if isinstance(value, Decimal) else value


def notify_client_field() -> forms.BooleanField:
    return forms.BooleanField(
        label="Tell the client",
        required=False,
        initial=True,
        help_text=(
            "By e-mail, with the day for their calendar; without an address somebody has to phone."
        ),
    )


def hours_field(**kwargs: Any) -> HoursField:
    return HoursField(
        label="Hours",
        min_value=Decimal("0.25"),
        max_value=Decimal(999),
        decimal_places=2,
        help_text="Of the whole crew together, as the crew's hours a day are.",
        error_messages={
            "required": "Say how many hours the work takes.",
            "min_value": "At least a quarter of an hour.",
            "max_value": "At most 999 hours; split longer work into several bookings.",
        },
        **kwargs,
    )


class SuggestedDayField(forms.ChoiceField):
    """One of the days that suit, as “crew:day”. A day that suited when the page was opened is no
    mistake of whoever chose it: if it is gone, the action says so."""

    def valid_value(self, value: str) -> bool:
        return value == OTHER_DAY or crew_and_day(value) is not None


def crew_and_day(value: str) -> tuple[Crew, date] | None:
    number, _, day = value.partition(":")
    try:
        crew = Crew.objects.filter(pk=int(number), is_active=True).first()
        return (crew, date.fromisoformat(day)) if crew else None
    except (ValueError, OverflowError):
        return None


def time_field(label: str, help_text: str) -> forms.TimeField:
    return forms.TimeField(
        label=label,
        required=False,
        help_text=help_text,
        widget=forms.TimeInput(format="%H:%M", attrs={"type": "time"}),
        error_messages={"invalid": f"{label}: write hours and minutes, such as 08:30."},
    )


class ArrivalForm(forms.Form):
    """When the crew comes on the day; both times may stay empty.
    Gives `arrival` in place of the two."""

    arrives_from = time_field("Arrival", "Empty if nothing is said.")
    arrives_to = time_field("At the latest", "Empty if it is about then.")
    notify_client = notify_client_field()

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        begins = values.pop("arrives_from", None)
        ends = values.pop("arrives_to", None)
        values["arrival"] = Arrival(begins, ends)
        if ends and not begins and "arrives_from" not in self.errors:
            self.add_error(
                "arrives_from", "Write the time of arrival, or leave the latest one empty, too."
            )
        elif ends and begins and ends <= begins:
            self.add_error("arrives_to", "At the latest: write a time after that of arrival.")
        return values


class DayForm(ArrivalForm):
    """A day and crew: one of those that suit, or any other."""

    when = SuggestedDayField(
        label="Day",
        widget=forms.RadioSelect(attrs={"class": "days"}),
        error_messages={
            "required": "Choose a day.",
            "invalid_choice": "Choose one of the days listed, or write another day.",
        },
    )
    first_day = needed_with_others(DayField(label="Another day", required=False))
    crew = forms.ModelChoiceField(
        queryset=Crew.objects.filter(is_active=True),
        label="Crew",
        required=False,
        empty_label="Any crew with room",
    )
    on_any_day = forms.BooleanField(
        label="Even if the crew does not go out on that day",
        required=False,
        help_text="A Saturday or a holiday that was agreed on.",
    )

    def __init__(self, *args: Any, suggested: Sequence[PlacementSuggestion], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [(each.value, suggestion_label(each)) for each in suggested]
        when = cast(forms.ChoiceField, self.fields["when"])
        when.choices = [*choices, (OTHER_DAY, "Another day")]

    def clean(self) -> dict[str, Any]:
        values = super().clean()
        when = values.get("when")
        if when == OTHER_DAY and not values.get("first_day") and "first_day" not in self.errors:
            self.add_error("first_day", "Write the day.")
        elif when and when != OTHER_DAY:
            values["crew"], values["first_day"] = cast(tuple[Crew, date], crew_and_day(when))
            self.errors.pop("first_day", None)
        return values


class DecksField(forms.ModelMultipleChoiceField):
    def label_from_instance(self, obj: Deck) -> str:
        return f"{obj.label}, {display.format_size(obj.area_m2)}"


class BookingForm(DayForm):
    """A new booking."""

    decks = DecksField(
        queryset=Deck.objects.none(),
        label="Decks",
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Choose at least one deck."},
    )
    hours = hours_field()
    notes = forms.CharField(
        label="Notes for the crew",
        required=False,
        max_length=5_000,
        widget=textarea(2),
    )

    def __init__(self, *args: Any, decks: Sequence[Deck], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choose = cast(DecksField, self.fields["decks"])
        choose.queryset = Deck.objects.filter(pk__in=[deck.pk for deck in decks])


class NotesForm(forms.Form):
    """What the crew should know."""

    notes = forms.CharField(
        label="Notes for the crew",
        required=False,
        max_length=5_000,
        widget=textarea(2),
        error_messages={"max_length": "The notes are longer than 5,000 characters. Shorten them."},
    )


class NextVisitForm(forms.Form):
    """What could not be finished."""

    left = forms.CharField(
        label="What is left to do",
        max_length=300,
        widget=textarea(2),
        help_text="The client reads it, if you tell them.",
        error_messages={
            "required": "Say what is left to do.",
            "max_length": "At most 300 characters. Shorten it.",
        },
    )
    hours_left = hours_field(initial=Decimal(2))
    notify_client = notify_client_field()


class MoveForm(DayForm):
    """Another day for a booking."""

    hours = hours_field()
    why = forms.CharField(
        label="Why", required=False, max_length=300, help_text="The client reads it."
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        cast(forms.ModelChoiceField, self.fields["crew"]).empty_label = "The same crew"


class HoldForm(forms.Form):
    """The weather may not allow it."""

    why = forms.CharField(
        label="More about it",
        required=False,
        max_length=300,
        help_text=(
            "The message says that the weather does not allow it and that you come back with a new"
            " day."
        ),
    )
    notify_client = notify_client_field()


class HoldDayForm(HoldForm):
    """All bookings of a day, of one crew or of all."""

    day = DayField(label="Day")
    crew = forms.ModelChoiceField(
        queryset=Crew.objects.all(), label="Crew", required=False, empty_label="All crews"
    )


class CallOffForm(forms.Form):
    """The booking does not take place."""

    why = forms.CharField(
        label="Why",
        max_length=300,
        help_text="The client reads it.",
        error_messages={"required": "Say why the booking is cancelled."},
    )
    notify_client = notify_client_field()

    def clean_why(self) -> str:
        why = self.cleaned_data["why"].strip()
        if not why:
            raise ValidationError("Say why the booking is cancelled.")
        return str(why)


PROXIMITY_LABELS = {
    Proximity.IN_TOWN: ["in that town already"],
    Proximity.NEAR: ["near by already"],
    Proximity.FAR: ["a long way from the rest"],
}


def suggestion_label(suggestion: PlacementSuggestion) -> str:
    """“Tue, Jun 8, 2027 · Tern crew · 5 h free · in Lunenburg already”."""
    way = suggestion.placement
    until = f" to {display.format_weekday(way.last_on)}" if way.last_on != way.first_on else ""
    parts = [
        f"{display.format_weekday(way.first_on)}{until}",
        way.crew.name,
        f"{display.format_number(suggestion.hours_free)} h free",
    ]
    return " · ".join([*parts, *PROXIMITY_LABELS.get(way.proximity, [])])
