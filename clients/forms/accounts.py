"""Forms about signing in: the first visit, people and passwords."""

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm, PasswordChangeForm, SetPasswordForm
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from clients import countries
from clients.forms.fields import CountryField, needed_with_others
from clients.models import User
from clients.units import Units

MAX_NAME_LENGTH = 150  # of the column
USERNAME_HELP = "What they type to sign in: letters, digits and @ . + - _"


def username_field() -> forms.CharField:
    field = User._meta.get_field("username")
    return forms.CharField(
        label="Sign-in name",
        max_length=MAX_NAME_LENGTH,
        validators=field.validators,
        help_text=USERNAME_HELP,
        widget=forms.TextInput(
            attrs={"autocomplete": "username", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )


def password_field(label: str, help_text: str = "") -> forms.CharField:
    widget = forms.PasswordInput(attrs={"autocomplete": "new-password"})
    return forms.CharField(
        label=label, strip=False, max_length=200, widget=widget, help_text=help_text
    )


class SignInForm(AuthenticationForm):
    """Name and password."""

    error_messages = {
        "invalid_login": (
            "That name and password do not belong together. Check both; capitals count in the"
            " password."
        ),
        "inactive": "This account is closed. Ask the owner.",
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "Sign-in name"

    def clean_username(self) -> str:
        """A name that no account can have is not even tried (nor written down by the throttle)."""
        username: str = self.cleaned_data["username"]
        if len(username) > MAX_NAME_LENGTH:
            raise self.get_invalid_login_error()
        return username


class NewPasswordForm(forms.Form):
    """Name, sign-in name and a password written twice; the base of two forms."""

    name = forms.CharField(
        label="Name", max_length=150, widget=forms.TextInput(attrs={"autocomplete": "name"})
    )
    username = username_field()
    password = password_field(
        "Password", "At least 10 characters. A few words that only make sense to you are good."
    )
    password_again = password_field("The same password again")

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        password = values.get("password")
        if password and values.get("password_again") not in {None, password}:
            self.add_error("password_again", "The two passwords differ. Type the same one twice.")
        if password:
            person = User(username=values.get("username", ""), first_name=values.get("name", ""))
            try:
                validate_password(password, person)
            except ValidationError as error:
                self.add_error("password", error)
        return values


class ZoneSelect(forms.Select):
    """Time zones with their countries and other names, for the script that asks the browser."""

    def create_option(self, *args: Any, **kwargs: Any) -> dict[str, Any]:
        option = super().create_option(*args, **kwargs)
        name = str(option["value"])
        option["attrs"]["data-country"] = countries.zone_countries().get(name, "")
        option["attrs"]["data-also"] = countries.former_zone_names().get(name, "")
        return option


class FirstVisitForm(NewPasswordForm):
    """What the book cannot start without."""

    business = forms.CharField(label="Name of the business", max_length=120)
    country = CountryField(label="Country", initial="CA")
    time_zone = forms.ChoiceField(
        label="Time zone",
        initial="America/Halifax",
        choices=countries.zone_choices,
        widget=ZoneSelect(attrs={"data-guess-zone": "country"}),
    )
    units = forms.ChoiceField(
        label="Units",
        choices=Units.choices,
        initial=Units.METRIC,
        widget=forms.RadioSelect(attrs={"class": "segments"}),
    )

    @property
    def business_values(self) -> dict[str, Any]:
        values = self.cleaned_data
        country = values["country"]
        return {
            "name": values["business"],
            "country": country,
            "time_zone": values["time_zone"],
            "units": values["units"],
            "currency": countries.currency_of(country),
            "locale": countries.english_locale(country),
        }


class NewPersonForm(NewPasswordForm):
    """A new account. The owner hands over the password; its holder then changes it."""

    role = forms.ChoiceField(
        label="Role", choices=User.Role.choices, initial=User.Role.CREW, widget=forms.RadioSelect
    )
    field_order = ["name", "role", "username", "password", "password_again"]


class PersonForm(forms.Form):
    """Name, role, and whether they may sign in."""

    name = forms.CharField(label="Name", max_length=150)
    role = forms.ChoiceField(label="Role", choices=User.Role.choices, widget=forms.RadioSelect)
    is_active = forms.BooleanField(label="May sign in", required=False)


class PersonPasswordForm(SetPasswordForm):
    """A new password for somebody who forgot theirs."""


class OwnPasswordForm(PasswordChangeForm):
    """The old one and a new one."""


class NoticesForm(forms.ModelForm):
    """How somebody hears of what clients do."""

    class Meta:
        model = User
        fields = ["notices_by", "email"]
        labels = {"notices_by": "Mail about answers of clients, and about trouble", "email": "To"}
        widgets = {"notices_by": forms.RadioSelect}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        needed_with_others(self.fields["email"])

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        if values.get("notices_by") != User.Notices.NONE and not values.get("email"):
            self.add_error("email", "Write the address that it goes to, or choose “Not at all”.")
        return values
