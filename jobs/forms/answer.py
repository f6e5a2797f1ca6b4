"""What a client types on the page of an offer: which week and who, why not, or a question."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms
from django.core.validators import ProhibitNullCharactersValidator
from django.utils.translation import gettext_lazy as _

from clients import display
from clients.forms.fields import textarea
from clients.messaging.law import WithdrawalRight
from jobs.forms.fields import client_name_field
from jobs.models import Offer
from jobs.offers import week_text


class AcceptForm(forms.Form):
    """A week out of those that have room, and a name."""

    prefix = "accept"
    use_required_attribute = False
    week = forms.TypedChoiceField(
        label=_("Which week suits you?"),
        coerce=date.fromisoformat,
        widget=forms.RadioSelect,
        error_messages={
            "required": _("Choose a week."),
            "invalid_choice": _(
                "This week has no room any more. Choose one of those that are listed."
            ),
        },
    )
    name = client_name_field()

    asks_early = forms.BooleanField(
        label=_(
            "I ask you to begin before the time to withdraw is over, and know that I can no longer"
            " withdraw once all the work is done."
        ),
        required=False,
    )

    def __init__(
        self,
        *args: Any,
        weeks: Sequence[date] | None,
        right: WithdrawalRight | None,
        today: date,
        **kwargs: Any,
    ) -> None:
        """`weeks` None: of a change order, which has none of its own."""
        super().__init__(*args, **kwargs)
        self.right = right
        self.today = today
        if weeks is None:
            del self.fields["week"], self.fields["asks_early"]
            return
        choices = [(week.isoformat(), week_text(week)) for week in weeks]
        self.fields["week"].choices = choices  # type: ignore[attr-defined]
        if not any(self.is_early(week) for week in weeks):
            del self.fields["asks_early"]

    def is_early(self, week: date) -> bool:
        """Whether work in that week needs the client's express request (Directive 2011/83/EU,
        Art. 8(8))."""
        return self.right is not None and self.right.is_early(week, accepted_on=self.today)

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        week = values.get("week")
        if week and self.is_early(week) and not values.get("asks_early"):
            why = _(
                "This week begins before the time to withdraw is over, on {day}. Tick this, or"
                " choose a later week."
            )
            day = display.format_day(self.right.last_day(self.today)) if self.right else ""
            self.add_error("asks_early", why.format(day=day))
        return values


class RescindForm(forms.Form):
    """Who withdraws from the contract."""

    prefix = "rescind"
    use_required_attribute = False
    name = client_name_field()


class DeclineForm(forms.Form):
    """A reason to choose, and words if there are any."""

    prefix = "decline"
    use_required_attribute = False
    reason = forms.ChoiceField(
        label=_("What is the reason?"),
        choices=Offer.Decline.choices,
        widget=forms.RadioSelect,
        error_messages={"required": _("Choose a reason; “another reason” will do.")},
    )
    words = forms.CharField(
        label=_("Anything you want to add"),
        required=False,
        max_length=1_500,
        widget=textarea(3),
        validators=[ProhibitNullCharactersValidator()],
    )
    name = client_name_field()


class AskForm(forms.Form):
    """A question in the client's own words."""

    prefix = "ask"
    use_required_attribute = False
    words = forms.CharField(
        label=_("Your question"),
        max_length=1_500,
        widget=textarea(3),
        validators=[ProhibitNullCharactersValidator()],
        error_messages={"required": _("Write your question first.")},
    )
