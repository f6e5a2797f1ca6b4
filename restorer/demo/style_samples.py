"""What the sample page of the style shows:
every kind of field, and the three pictures on invented figures."""

from datetime import date, timedelta
from math import erf, log, sqrt
from typing import Any

from django import forms
from django.core.paginator import Paginator

from reminders import pictures

GRADES = [(str(grade), str(grade)) for grade in range(6)]


class SampleForm(forms.Form):
    """Never saved; it exists to be looked at."""

    client = forms.CharField(help_text="A name, a number or a street.")
    finished_on = forms.DateField(widget=forms.DateInput(attrs={"type": "date"}))
    litres = forms.DecimalField(label="Litres used", min_value=0)
    colour = forms.CharField(required=False)
    product = forms.ChoiceField(
        choices=[("", "Choose a product"), ("oil", "Decking oil"), ("stain", "Stain")]
    )
    kind = forms.ChoiceField(
        choices=[
            ("recoat", "Clean and recoat"),
            ("strip", "Strip and recoat"),
            ("wash", "Wash only"),
        ],
        widget=forms.RadioSelect(attrs={"class": "segments"}),
    )
    overall = forms.ChoiceField(
        label="As-found grade",
        choices=GRADES,
        widget=forms.RadioSelect(attrs={"class": "grades"}),
        help_text="0 unchanged … 5 very marked",
    )
    photo = forms.FileField(required=False)
    remind = forms.BooleanField(label="Remind this client when it is due", required=False)
    notes = forms.CharField(widget=forms.Textarea, required=False)


def sample_chance_worn(months: float, median: float = 16.0, spread: float = 0.342) -> float:
    """The reference deck of common practice: half worn at 16 months, one in five at 12."""
    return 0.0 if months <= 0 else (1 + erf(log(months / median) / (spread * sqrt(2)))) / 2


def sample_window(coat_on: date) -> pictures.DueWindow:
    return pictures.DueWindow(*(coat_on + timedelta(days=days) for days in (365, 487, 649)))


def sample_curve(today: date) -> pictures.WearCurve:
    coat_on = today - timedelta(days=440)
    facts = pictures.WearFacts(
        coat_on=coat_on,
        today=today,
        window=sample_window(coat_on),
        chances=[
            (coat_on + timedelta(days=days), sample_chance_worn(days / 30.44))
            for days in range(0, 1100, 15)
        ],
        found=[
            pictures.FoundGrade(coat_on + timedelta(days=200), 1),
            pictures.FoundGrade(coat_on + timedelta(days=365), 2),
        ],
    )
    return pictures.wear_curve(facts)


def sample_strip(today: date) -> pictures.MonthStrip:
    counts = [4, 2, 0, 3, 9, 18, 26, 21, 14, 11, 6, 1]
    months = [pictures.first_of_month(today, place - 1) for place in range(12)]
    bars = [
        pictures.MonthCount(on, count, "#pictures")
        for on, count in zip(months, counts, strict=True)
    ]
    return pictures.month_strip(bars, today=today, chosen=months[4])


def style_samples(today: date) -> dict[str, Any]:
    """The context of `restorer/parts.html`."""
    ages = {"late": 800, "due": 520, "open": 400, "sound": 90}
    bars = {
        state: pictures.window_bar(
            sample_window(today - timedelta(days=age)), today=today, key=f"window-{state}"
        )
        for state, age in ages.items()
    }
    return {
        "form": SampleForm({"client": "", "overall": "2", "kind": "recoat", "litres": "-4"}),
        "curve": sample_curve(today),
        "strip": sample_strip(today),
        "bars": bars,
        "page": Paginator(range(240), 20).get_page(3),
    }
