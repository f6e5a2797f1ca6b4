"""What a plan is asked for, and the week that a person chooses for one household."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms

from clients import display
from reminders.months import month_key, parse_month, shift_months
from reminders.pacing import Horizon, horizon_from_month

MONTHS_AHEAD = 18
PLAN_LENGTHS = [4, 8, 12, 16, 26, 39, 52]
LEAVE_OUT = "leave_out"
PLAN_CHOOSES = "plan"


class PlanForm(forms.Form):
    """From which month, over how many weeks, and which share of the crews' hours."""

    month = forms.ChoiceField(label="From")
    weeks = forms.TypedChoiceField(
        label="Over", coerce=int, choices=[(n, f"{n} weeks") for n in PLAN_LENGTHS]
    )
    percent = forms.IntegerField(
        label="Share of the free hours to fill, per cent",
        min_value=1,
        max_value=100,
        help_text="Less than 100 keeps hours for new clients.",
    )

    def __init__(self, data: Any = None, *, today: date, chosen: Horizon) -> None:
        initial = {
            "month": month_key(chosen.first),
            "weeks": chosen.weeks,
            "percent": chosen.percent,
        }
        super().__init__(data, initial=initial)
        months = [shift_months(today.replace(day=1), n) for n in range(MONTHS_AHEAD)]
        self.fields["month"].choices = [  # type: ignore[attr-defined]
            (month_key(month), display.format_month(month)) for month in months
        ]
        if chosen.weeks not in PLAN_LENGTHS:
            self.fields["weeks"].choices = [  # type: ignore[attr-defined]
                (chosen.weeks, f"{chosen.weeks} weeks"),
                *self.fields["weeks"].choices,  # type: ignore[attr-defined]
            ]
        self.today = today

    def horizon(self) -> Horizon:
        """The weeks asked for, once the form is valid."""
        asked = self.cleaned_data
        return horizon_from_month(
            parse_month(asked["month"]),
            weeks=asked["weeks"],
            percent=asked["percent"],
            today=self.today,
        )


class WeekForm(forms.Form):
    """One of the weeks of the plan, out of every plan, or as the plan has it."""

    week = forms.ChoiceField(label="Week", widget=forms.RadioSelect)

    def __init__(self, data: Any = None, *, weeks: Sequence[tuple[date, str]], chosen: str) -> None:
        super().__init__(data, initial={"week": chosen})
        self.fields["week"].choices = [  # type: ignore[attr-defined]
            (PLAN_CHOOSES, "Let the plan choose"),
            *((monday.isoformat(), words) for monday, words in weeks),
            (LEAVE_OUT, "Leave out of every plan"),
        ]
