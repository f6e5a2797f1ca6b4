"""What was agreed in a care plan."""

from typing import Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator

from clients.forms.fields import textarea
from jobs.forms.fields import DayField
from reminders.care_plans import CarePlanTerms
from reminders.models import CarePlan

PLAN_WORDING = (
    "We look after your deck whenever it is ready, at the price above. We tell you the day in time,"
    " and you can say no to a week or end the plan."
)


class CarePlanForm(forms.ModelForm):
    """Terms, price rule, notice, and that the client agreed."""

    starts_on = DayField(label="From")

    class Meta:
        model = CarePlan
        fields = [
            "starts_on",
            "price",
            "raise_percent",
            "notice_days",
            "term_months",
            "renews",
            "wording",
            "evidence",
        ]
        labels = {"evidence": "How they agreed"}
        help_texts = {
            "price": "In the first year, for all decks of the property together.",
            "wording": "As the client read it.",
            "evidence": "Such as “signed on paper, May 4” or “e-mail of May 4”.",
        }
        widgets = {"wording": textarea(4)}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        limits = {
            "price": (0.01, None),
            "raise_percent": (0, 50),
            "notice_days": (1, CarePlan.MAX_NOTICE_DAYS),
            "term_months": (1, CarePlan.MAX_TERM_MONTHS),
        }
        for name, (least, most) in limits.items():
            validators = self.fields[name].validators
            validators.append(MinValueValidator(least))
            if most is not None:
                validators.append(MaxValueValidator(most))

    @property
    def terms(self) -> CarePlanTerms:
        return CarePlanTerms(**self.cleaned_data)
