"""What a client types on their own page: a code, a week, words, other details, ways to write."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.validators import ProhibitNullCharactersValidator
from django.utils.translation import gettext_lazy as _

from clients.forms.fields import needed_with_others, textarea
from clients.notation import emails, phones
from jobs import photos
from jobs.offers import week_text
from reminders.client_page import LOOK_GRADES, ClientLook, ContactChoice

WORDS_LABEL = _("Anything you want to add")


def one_line(label: Any, length: int, autocomplete: str) -> forms.CharField:
    return forms.CharField(
        label=label,
        required=False,
        max_length=length,
        widget=forms.TextInput(attrs={"autocomplete": autocomplete}),
        validators=[ProhibitNullCharactersValidator()],
    )


class PageCodeForm(forms.Form):
    """The code of a letter or a text message."""

    use_required_attribute = False
    code = forms.CharField(
        label=_("The code in our letter"),
        max_length=40,
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
        ),
        error_messages={"required": _("Type the code first.")},
        validators=[ProhibitNullCharactersValidator()],
    )


class OfferRequestForm(forms.Form):
    """A week out of those that have room, or a price alone."""

    prefix = "offer"
    use_required_attribute = False
    week = forms.TypedChoiceField(
        label=_("Which week suits you?"),
        coerce=date.fromisoformat,
        empty_value=None,
        widget=forms.RadioSelect,
        error_messages={
            "required": _("Choose a week."),
            "invalid_choice": _(
                "This week has no room any more. Choose one of those that are listed."
            ),
        },
    )
    words = forms.CharField(
        label=WORDS_LABEL,
        required=False,
        max_length=1_500,
        widget=textarea(2),
        validators=[ProhibitNullCharactersValidator()],
    )

    def __init__(
        self, *args: Any, weeks: Sequence[date], wants_week: bool = False, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.wants_week = wants_week
        self.fields["week"].required = wants_week or not self.is_bound
        self.fields["week"].choices = [(week.isoformat(), week_text(week)) for week in weeks]  # type: ignore[attr-defined]

    def clean_week(self) -> date | None:
        """A price alone is asked for whatever was chosen above."""
        week: date | None = self.cleaned_data["week"]
        return week if self.wants_week else None


class DetailsForm(forms.Form):
    """Only what has changed; what is on file is not shown to whoever holds the link."""

    prefix = "details"
    use_required_attribute = False
    name = one_line(_("Your name"), 200, "name")
    email = one_line(_("E-mail address"), 254, "email")
    mobile = one_line(_("Mobile phone"), 40, "tel")
    phone = one_line(_("Other phone"), 40, "tel")
    street = needed_with_others(one_line(_("Street, for letters"), 200, "address-line1"))
    town = one_line(_("Town"), 120, "address-level2")
    region = one_line(_("Province, state or region"), 120, "address-level1")
    postcode = one_line(_("Postal code"), 20, "postal-code")
    words = forms.CharField(
        label=WORDS_LABEL,
        required=False,
        max_length=500,
        widget=textarea(2),
        validators=[ProhibitNullCharactersValidator()],
    )

    def __init__(self, *args: Any, country: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.country = country

    def clean_email(self) -> str:
        value = str(self.cleaned_data["email"])
        try:
            return emails.parse_email_address(value) if value else ""
        except emails.EmailError as error:
            raise ValidationError(
                _("This is not one e-mail address. Write it like name@example.com.")
            ) from error

    def clean_mobile(self) -> str:
        return self.clean_number("mobile")

    def clean_phone(self) -> str:
        return self.clean_number("phone")

    def clean_number(self, name: str) -> str:
        value = str(self.cleaned_data[name])
        try:
            if value:
                phones.parse_phone(value, self.country)
        except phones.PhoneError as error:
            raise ValidationError(
                _("This is not a telephone number. Write it with its area code.")
            ) from error
        return value

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        if not self.errors and not any(str(value).strip() for value in values.values()):
            raise ValidationError(_("Write what has changed."))
        if not values.get("street") and any(values.get(each) for each in ("town", "postcode")):
            self.add_error("street", _("Write the street too; the whole address is replaced."))
        return values


def look_question(label: Any, *choices: tuple[str, Any]) -> forms.ChoiceField:
    return forms.ChoiceField(
        label=label,
        choices=choices,
        widget=forms.RadioSelect,
        error_messages={"required": _("Choose what fits best.")},
    )


class ClientLookForm(forms.Form):
    """Three plain questions and a photograph."""

    use_required_attribute = False
    beading = look_question(
        _("Pour a little water on the boards. What does it do?"),
        ("beads", _("It stands in drops")),
        ("slowly", _("It soaks in slowly")),
        ("soaks", _("It soaks in at once")),
    )
    greying = look_question(
        _("Has it gone grey?"),
        ("no", _("No")),
        ("places", _("In places")),
        ("all", _("All over")),
    )
    flaking = look_question(
        _("Does anything peel?"),
        ("no", _("No")),
        ("places", _("In places")),
        ("many", _("In many places")),
    )
    photo = forms.FileField(
        label=_("A photograph, if you like"),
        required=False,
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
    )

    def clean_photo(self) -> "ContentFile[bytes] | None":
        upload = self.cleaned_data["photo"]
        try:
            return photos.normalize_photo(upload) if upload else None
        except photos.PhotoError as error:
            raise ValidationError(
                _("This is no picture that we can read. Send JPEG, PNG or WebP of at most 20 MB.")
            ) from error

    @property
    def look(self) -> ClientLook:
        answers = {name: str(self.cleaned_data[name]) for name in LOOK_GRADES}
        return ClientLook(answers, self.cleaned_data["photo"])


class ContactChoicesForm(forms.Form):
    """A box for each way that the client can be reached by."""

    prefix = "contact"
    allowed = forms.MultipleChoiceField(
        label=_("You may send me reminders and offers"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(self, *args: Any, choices: Sequence[ContactChoice], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["allowed"].choices = [(each.channel, each.shown) for each in choices]  # type: ignore[attr-defined]
        self.fields["allowed"].initial = [each.channel for each in choices if each.is_allowed]
