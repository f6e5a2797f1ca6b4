"""Forms about signing in: the first visit, people and passwords."""

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm, PasswordChangeForm, SetPasswordForm
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from clients.forms.fields import CountryField, needed_with_others
from clients.models import User
from clients.notation import Units, countries

MAX_NAME_LENGTH = 150  # of the column
STAY_HELP = "For 30 days. Not on a device that others use."
EMAIL_HELP = "Where links and warnings about the account go."
INVITE_HELP = "Leave the password empty to send an invitation there."
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
    """Name and password, and whether the device is one's own."""

    stay = forms.BooleanField(
        label="Keep me signed in on this device", required=False, help_text=STAY_HELP
    )
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


class CodeForm(forms.Form):
    """A code of an app, or a recovery code."""

    code = forms.CharField(
        label="Code",
        max_length=40,
        widget=forms.TextInput(
            attrs={
                "autocomplete": "one-time-code",
                "autocapitalize": "none",
                "spellcheck": "false",
                "autofocus": True,
            }
        ),
    )


class PasskeyForm(forms.Form):
    """A new passkey: its name, and what the browser answered."""

    name = forms.CharField(
        label="Name of the passkey",
        max_length=60,
        help_text="So that you know it again, such as “my phone”.",
    )
    answer = forms.CharField(
        max_length=20_000, widget=forms.HiddenInput, required=False, strip=False
    )


class CurrentPasswordForm(forms.Form):
    """The person's own password, to show that it is still them."""

    password = forms.CharField(
        label="Your password",
        strip=False,
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )


class SecondStepRolesForm(forms.Form):
    """Which roles have to sign in with a second step."""

    roles = forms.MultipleChoiceField(
        label="Second step required of",
        choices=User.Role.choices,
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )


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
    """A new account. Where mail is proven an invitation may go out instead of a password; else
    the owner hands it over, and its holder then changes it."""

    role = forms.ChoiceField(
        label="Role", choices=User.Role.choices, initial=User.Role.CREW, widget=forms.RadioSelect
    )
    email = forms.EmailField(label="E-mail", required=False, help_text=EMAIL_HELP)
    field_order = ["name", "role", "username", "email", "password", "password_again"]

    def __init__(self, *args: Any, may_invite: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.may_invite = may_invite
        if may_invite:
            self.fields["password"].required = self.fields["password_again"].required = False
            self.fields["email"].help_text = f"{EMAIL_HELP} {INVITE_HELP}"
            for name in ("email", "password", "password_again"):
                needed_with_others(self.fields[name])

    def clean(self) -> dict[str, Any]:
        values = super().clean()
        if self.may_invite and not values.get("password") and not values.get("email"):
            self.add_error("email", "Write the address to invite them at, or a password below.")
        return values


class PersonForm(forms.Form):
    """Name, role, address, and whether they may sign in."""

    name = forms.CharField(label="Name", max_length=150)
    role = forms.ChoiceField(label="Role", choices=User.Role.choices, widget=forms.RadioSelect)
    email = forms.EmailField(label="E-mail", required=False, help_text=EMAIL_HELP)
    is_active = forms.BooleanField(label="May sign in", required=False)


class ForgottenPasswordForm(forms.Form):
    """Whose password is forgotten."""

    who = forms.CharField(
        label="Sign-in name or e-mail",
        max_length=254,
        widget=forms.TextInput(
            attrs={"autocomplete": "username", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )


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
