"""Forms about a client: name and letters, ways to reach them, what they allow."""

from collections.abc import Iterator
from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from clients.actions.clients import ContactInput, why_no_look
from clients.forms.fields import CountryField, needed_with_others, textarea
from clients.messaging import suppression
from clients.messaging.models import Consent
from clients.messaging.texts_page import languages_in_use
from clients.models import Business, Channel, Client, ContactPoint, traits_of
from clients.notation import EmailError, PhoneError, parse_phone

MAX_CONTACT_POINTS = 12
WORDING_REQUIRED = "Write the words the client agreed to."
EVIDENCE_REQUIRED = "Write what shows the consent: a form, a message or a call."
MAX_EXPIRY_DAY = date(2200, 1, 1)


def language_choices() -> list[tuple[str, str]]:
    """Asked when the field is shown or read, not before."""
    return [("", "That of the business"), *languages_in_use()]


class ClientForm(forms.ModelForm):
    """Name, greeting, language, how they like to hear from us, and where letters go."""

    name = forms.CharField(
        label="Name", max_length=200, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
    language = forms.ChoiceField(
        label="Language",
        required=False,
        choices=language_choices,
        help_text=(
            "Of messages to them. Another one appears here once a text is written in it (Settings,"
            " Texts)."
        ),
    )
    postal_country = CountryField(label="Country", required=False)

    class Meta:
        model = Client
        fields = [
            "name",
            "salutation",
            "language",
            "preferred_channel",
            "notes",
            "postal_street",
            "postal_town",
            "postal_region",
            "postal_postcode",
            "postal_country",
        ]
        labels = {
            "salutation": "Greeting",
            "postal_street": "Street",
            "postal_town": "Town",
            "postal_region": "Province, state or region",
            "postal_postcode": "Postal code",
        }
        help_texts = {
            "salutation": "How a letter greets them; empty means the name.",
            "postal_street": "",
        }
        widgets = {"notes": textarea(4)}

    def clean_name(self) -> str:
        name = " ".join(self.cleaned_data["name"].split())
        if not any(letter.isalnum() for letter in name):
            raise ValidationError("Write the name of the client.")
        return name

    @property
    def has_postal(self) -> bool:
        """Whether letters go elsewhere than to the deck, so that the part must not be folded
        away."""
        names = [name for name in self.fields if name.startswith("postal_")]
        return any(self[name].errors or self[name].value() for name in names)


class ContactForm(forms.Form):
    """One row: an e-mail address or a number."""

    pk = forms.IntegerField(required=False, widget=forms.HiddenInput, min_value=1, max_value=2**62)
    kind = forms.ChoiceField(
        label="By",
        choices=[("mobile", "Mobile phone"), ("phone", "Other phone"), ("email", "E-mail")],
    )
    value = forms.CharField(
        label="Number or address",
        required=False,
        max_length=254,
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "none", "spellcheck": "false"}
        ),
    )
    label = forms.CharField(label="Note", required=False, max_length=60)
    is_preferred = forms.BooleanField(label="Use this one first", required=False)

    def __init__(self, *args: Any, country: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.country = country
        self.normalized = self.warning = ""

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        if values.get("value") and values.get("kind"):
            try:
                self.normalize_contact()
            except (EmailError, PhoneError) as error:
                self.add_error("value", str(error))
        return values

    def normalize_contact(self) -> None:
        reach = self.contact_input()
        self.normalized = reach.normalized()
        if reach.kind != ContactPoint.Kind.EMAIL:
            self.warning = parse_phone(reach.value, self.country).warning

    def contact_input(self) -> ContactInput:
        values = self.cleaned_data
        return ContactInput(
            kind=values["kind"],
            value=values["value"],
            country=self.country,
            label=values.get("label", ""),
            is_preferred=values.get("is_preferred", False),
            pk=values.get("pk"),
        )


class BaseContactFormSet(forms.BaseFormSet):
    """All ways to reach one client. A row left empty is no row;
    one that was filled and is emptied goes."""

    known_by = ("pk",)
    filled_by = ("value",)
    row_label = "Number or address"

    def add_fields(self, form: forms.Form, index: int | None) -> None:
        super().add_fields(form, index)
        if "DELETE" in form.fields:
            form.fields["DELETE"].label = "Remove"

    def filled_forms(self) -> Iterator[ContactForm]:
        for form in self.forms:
            if form.cleaned_data.get("value") and not form.cleaned_data.get("DELETE"):
                yield form

    def clean(self) -> None:
        if any(self.errors):
            return
        seen: set[tuple[str, str]] = set()
        first: set[str] = set()
        for form in self.filled_forms():
            kind = form.cleaned_data["kind"]
            if (kind, form.normalized) in seen:
                form.add_error("value", "This is written twice. Remove one of them.")
            if form.cleaned_data.get("is_preferred") and kind in first:
                form.add_error(
                    "is_preferred", "Only one of a kind can be used first. Untick the others."
                )
            seen.add((kind, form.normalized))
            first |= {kind} if form.cleaned_data.get("is_preferred") else set()

    @property
    def contacts(self) -> list[ContactInput]:
        return [form.contact_input() for form in self.filled_forms()]

    @property
    def removed(self) -> list[int]:
        """Rows of the book that were emptied or ticked to be deleted."""
        kept = {form.cleaned_data.get("pk") for form in self.filled_forms()}
        return [pk for form in self.forms if (pk := form.cleaned_data.get("pk")) and pk not in kept]

    @property
    def warnings(self) -> list[str]:
        return [form.warning for form in self.filled_forms() if form.warning]


def contact_formset(data: Any, *, client: Client | None, country: str) -> BaseContactFormSet:
    """The rows of a client, and empty ones to add to."""
    points = list(client.contact_points.order_by("id")) if client else []
    names = ["pk", "kind", "value", "label", "is_preferred"]
    initial = [{name: getattr(point, name) for name in names} for point in points]
    empty = [{"kind": "mobile"}, {"kind": "email"}][: 1 if points else 2]
    factory: Any = forms.formset_factory(
        ContactForm,
        formset=BaseContactFormSet,
        extra=0,
        can_delete=bool(points),
        max_num=MAX_CONTACT_POINTS,
        validate_max=True,
        absolute_max=MAX_CONTACT_POINTS * 3,
    )
    reach: BaseContactFormSet = factory(
        data, initial=[*initial, *empty], prefix="reach", form_kwargs={"country": country}
    )
    return reach


class ConsentForm(forms.Form):
    """A line for the log: which channel, given or withdrawn, in which words, shown by what.
    Nothing is pre-ticked."""

    use_required_attribute = False  # a withdrawal needs less
    channel = forms.ChoiceField(label="Channel", choices=Channel.choices, widget=forms.RadioSelect)
    is_given = forms.TypedChoiceField(
        label="The client",
        choices=[("yes", "agreed"), ("no", "withdrew")],
        coerce=lambda value: value == "yes",
        widget=forms.RadioSelect(attrs={"class": "segments"}),
    )
    basis = forms.ChoiceField(
        label="Basis",
        choices=Consent.Basis.choices,
        help_text="A look into the register counts for calls, where the law there takes it.",
    )
    asked_by = forms.CharField(label="Who asked", required=False, max_length=100)
    asked_where = forms.ChoiceField(
        label="Where", required=False, choices=[("", "Nobody asked"), *Consent.AskedWhere.choices]
    )
    wording = forms.CharField(
        label="The words the client saw or heard",
        max_length=2_000,
        widget=textarea(3),
        error_messages={"required": WORDING_REQUIRED},
        help_text=(
            "Word for word. Such as: You may e-mail me when my deck is due. A withdrawal may do"
            " without."
        ),
    )
    evidence = forms.CharField(
        label="What shows it",
        max_length=300,
        error_messages={"required": EVIDENCE_REQUIRED},
        help_text=(
            "Such as: sign-off form of 12 June 2026, or call at 14:10. A withdrawal may do without."
        ),
    )
    expires_on = needed_with_others(
        forms.DateField(
            label="Expires on",
            required=False,
            widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
            help_text=(
                "Needed where the client did not agree in so many words; the law there says how"
                " long."
            ),
            error_messages={
                "invalid": "This is not a day of the calendar. Write it like 2027-05-14."
            },
        )
    )

    def __init__(
        self, *args: Any, client: Client, business: Business, today: date, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        if self.data.get("is_given") == "no":
            self.fields["wording"].required = self.fields["evidence"].required = False
        self.last_of_calls = client.consents.filter(channel=Channel.CALL).first()
        if self.data.get("basis") == Consent.Basis.REGISTER:
            self.fields["wording"].required = False
        self.suppressed_channels = suppressed_channels(client, business)
        if self.suppressed_channels:
            names = ", ".join(Channel(channel).label for channel in self.suppressed_channels)
            self.fields["is_welcome_again"] = forms.BooleanField(
                label="They asked in so many words to be written to again",
                required=False,
                help_text=(
                    f"They had asked not to be written to ({names}). Only the client can undo that."
                ),
            )

    def clean_expires_on(self) -> date | None:
        day: date | None = self.cleaned_data["expires_on"]
        if day and not self.today <= day < MAX_EXPIRY_DAY:
            raise ValidationError("Write a day from today on, or leave it empty.")
        return day

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        is_implied = values.get("is_given") and values.get("basis") in {"customer", "inquiry"}
        if is_implied and not values.get("expires_on"):
            self.add_error("expires_on", "An implied consent needs the day on which it expires.")
        if values.get("is_given") and values.get("basis") == Consent.Basis.REGISTER:
            self.check_look(values.get("channel", ""))
        return values

    def check_look(self, channel: str) -> None:
        """The register is one of numbers that are called."""
        if channel and channel != Channel.CALL:
            self.add_error("basis", "A register of numbers is looked up for calls only.")
        elif why := why_no_look(self.last_of_calls):
            self.add_error("basis", why)


def suppressed_channels(client: Client, business: Business) -> list[str]:
    """Channels by which an address of the client asked not to be written to."""
    found = []
    for channel in Channel:
        kinds = traits_of(channel).contact_kinds
        points = [point for point in client.contact_points.all() if point.kind in kinds]
        addresses = {address for point in points for address in (point.value, point.normalized)}
        if addresses and suppression.suppressed_addresses(
            business=business, channel=channel, addresses=addresses
        ):
            found.append(channel.value)
    return found
