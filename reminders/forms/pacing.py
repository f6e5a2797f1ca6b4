"""What a plan is asked for, and the week that a person chooses for one household."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms

from clients import display
from reminders.months import months_on, parse_month, written
from reminders.pacing.book import Horizon, horizon

MONTHS_AHEAD = 18
LENGTHS = [4, 8, 12, 16, 26, 39, 52]
LEAVE_OUT, LET_PLAN_CHOOSE = "leave_out", "plan"


class PlanForm(forms.Form):
    """From which month, over how many weeks, and which share of the crews' hours."""

    month = forms.ChoiceField(label="From")
    weeks = forms.TypedChoiceField(label="Over", coerce=int, choices=[(n, f"{n} weeks") for n in LENGTHS])
    percent = forms.IntegerField(
        label="Share of the free hours to fill, per cent", min_value=1, max_value=100,
        help_text="Less than 100 keeps hours for new clients.",
    )  # fmt: skip

    def __init__(self, data: Any = None, *, today: date, chosen: Horizon) -> None:
        initial = {"month": written(chosen.first), "weeks": chosen.weeks, "percent": chosen.percent}
        super().__init__(data, initial=initial)
        months = [months_on(today.replace(day=1), n) for n in range(MONTHS_AHEAD)]
        self.fields["month"].choices = [(written(month), display.month(month)) for month in months]  # type: ignore[attr-defined]
        if chosen.weeks not in LENGTHS:
            self.fields["weeks"].choices = [(chosen.weeks, f"{chosen.weeks} weeks"), *self.fields["weeks"].choices]  # type: ignore[attr-defined]
        self.today = today

    def horizon(self) -> Horizon:
        """The weeks asked for, once the form is valid."""
        asked = self.cleaned_data
        return horizon(parse_month(asked["month"]), weeks=asked["weeks"], percent=asked["percent"], today=self.today)


class WeekForm(forms.Form):
    """One of the weeks of the plan, out of every plan, or as the plan wishes."""

    week = forms.ChoiceField(label="Week", widget=forms.RadioSelect)

    def __init__(self, data: Any = None, *, weeks: Sequence[tuple[date, str]], chosen: str) -> None:
        super().__init__(data, initial={"week": chosen})
        self.fields["week"].choices = [  # type: ignore[attr-defined]
            (LET_PLAN_CHOOSE, "Let the plan choose"),
            *((monday.isoformat(), words) for monday, words in weeks),
            (LEAVE_OUT, "Leave out of every plan"),
        ]
