"""The form of the text message gateway:
what its HTTP interface wants, written as lines of `name = value`."""

import ipaddress
import re
from typing import Any
from urllib.parse import urlsplit

from django import forms
from django.core.exceptions import ValidationError

from clients.forms.fields import LongText, needed_with_others, textarea
from clients.messaging.channels import gateway_protocol as gateway_codes
from clients.messaging.models import TextGateway
from clients.messaging.models.gateway import plain_hook_fields
from clients.messaging.outbox import delivery_reports
from clients.notation import phones

PLACEHOLDERS = {"{to}", "{from}", "{text}", "{reference}"}
PLACEHOLDER_PATTERN = re.compile(r"\{[^{}]*\}")
FIELD_PATH_PATTERN = re.compile(r"[^\s=.]+(\.[^\s=.]+)*")
HEADER_NAME = re.compile(r"[A-Za-z0-9!#$%&'*+.^_`|~-]+")  # RFC 9110, 5.6.2: a token
HEADER_VALUE = re.compile(r"[\x21-\x7e]([\x20-\x7e]*[\x21-\x7e])?")
MAX_LINES = 60


class MappingField(forms.CharField):
    """A mapping, one `name = value` a line; values from a list if there is one."""

    widget = LongText

    def __init__(self, *, values: set[str] | None = None, **kwargs: Any) -> None:
        self.values = values
        kwargs.setdefault("widget", textarea(5, autocapitalize="none", spellcheck="false"))
        kwargs.setdefault("max_length", 4_000)
        super().__init__(**kwargs)

    def prepare_value(self, value: Any) -> Any:
        if not isinstance(value, dict):
            return value
        return "\n".join(f"{name} = {each}" for name, each in value.items())

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        found: dict[str, str] = {}
        for number, line in enumerate(filter(str.strip, text.splitlines()), 1):
            name, equals, each = (part.strip() for part in line.partition("="))
            if not equals or not name or not each:
                raise ValidationError(
                    f"Line {number} is “{line.strip()[:60]}”. Write it as name = value."
                )
            if self.values and each not in self.values:
                raise ValidationError(
                    f"Line {number} ends in “{each[:40]}”. Choose one of"
                    f" {', '.join(sorted(self.values))}."
                )
            if name in found:
                raise ValidationError(f"“{name[:40]}” stands there twice.")
            found[name] = each
        if len(found) > MAX_LINES:
            raise ValidationError(
                f"These are {len(found)} lines; at most {MAX_LINES} are possible."
            )
        return found


class GatewayForm(forms.ModelForm):
    """Everything but the secret of the hooks, which is made and shown once by a button of its
    own."""

    url = forms.URLField(label="Address we post to", assume_scheme="https", max_length=200)
    template = MappingField(
        label="What we post",
        help_text=(
            "One field a line. Dots go deeper: message.to = {to}, numbers count: to.0 = {to}."
        ),
    )
    refusals = MappingField(
        label="Error codes",
        required=False,
        values={gateway_codes.FOR_GOOD, gateway_codes.FOR_NOW, gateway_codes.OPTED_OUT},
        help_text="A code of theirs, or an HTTP status = for_good, for_now or opted_out.",
    )
    statuses = MappingField(
        label="States",
        required=False,
        values=set(delivery_reports.REPORT_TRANSITIONS),
        help_text=(
            "A state of theirs = accepted, delivered, failed, or none where they do not know the"
            " message."
        ),
    )
    hook_fields = MappingField(
        label="What their posts hold",
        required=False,
        help_text=(
            "reference, id, event_id, status, error, from, text = where it stands in what they"
            " post."
        ),
    )
    auth_secret = forms.CharField(
        label="Password or token",
        required=False,
        max_length=500,
        strip=True,
        help_text="Empty leaves it as it is.",
        widget=forms.PasswordInput(attrs={"autocomplete": "off"}),
    )
    hook_key = forms.CharField(
        label="Signing key",
        required=False,
        max_length=200,
        strip=True,
        help_text="If they sign what they post: HMAC-SHA256 of the body. Empty leaves it as it is.",
        widget=forms.PasswordInput(attrs={"autocomplete": "off"}),
    )

    class Meta:
        model = TextGateway
        fields = [
            "name",
            "url",
            "auth",
            "auth_name",
            "auth_secret",
            "sender",
            "body",
            "template",
            "id_path",
            "refusal_path",
            "refusals",
            "honours_reference",
            "look_up_url",
            "status_path",
            "statuses",
            "hook_fields",
            "hook_header",
            "hook_key",
            "part_price",
            "is_on",
        ]
        labels = {
            "sender": "Sent from",
            "auth": "How it knows us",
            "auth_name": "Name, or name of the header",
            "body": "We post",
            "id_path": "Where its answer holds its own number",
            "refusal_path": "Where its answer holds an error code",
            "look_up_url": "Address to ask about a message",
            "status_path": "Where its answer holds the state",
            "is_on": "In use: text messages go out by it",
            "part_price": "Price of a part",
            "honours_reference": "It sends a repeated {reference} only once",
        }
        help_texts = {
            "part_price": "What it charges you for one part, such as 0.0079. Empty: not known."
        }

    def __init__(self, *args: Any, country: str, **kwargs: Any) -> None:
        self.country = country
        super().__init__(*args, **kwargs)
        for name in ("auth_name", "auth_secret", "hook_header"):
            needed_with_others(self.fields[name])
        template = flatten_template(self.instance.template or DEFAULT_TEMPLATE)
        self.initial.update({"auth_secret": "", "hook_key": "", "template": template})

    def clean_url(self) -> str:
        return validate_gateway_url(self.cleaned_data["url"])

    def clean_look_up_url(self) -> str:
        text = self.cleaned_data["look_up_url"].strip()
        if text and "{reference}" not in text:
            raise ValidationError("Write {reference} where the number of the message belongs.")
        return validate_gateway_url(text) if text else ""

    def clean_template(self) -> Any:
        found: dict[str, str] = self.cleaned_data["template"]
        used = set(PLACEHOLDER_PATTERN.findall(" ".join(found.values())))
        if wrong := used - PLACEHOLDERS:
            raise ValidationError(
                f"{sorted(wrong)[0]} is none of {', '.join(sorted(PLACEHOLDERS))}."
            )
        if missing := {"{to}", "{text}"} - used:
            raise ValidationError(f"{sorted(missing)[0]} is missing: the gateway must get it.")
        return nest_template(found)

    def clean_hook_fields(self) -> dict[str, str]:
        found: dict[str, str] = self.cleaned_data["hook_fields"]
        if wrong := set(found) - set(plain_hook_fields()):
            raise ValidationError(
                f"“{sorted(wrong)[0][:40]}” is none of {', '.join(plain_hook_fields())}."
            )
        return found

    def clean_auth_secret(self) -> str:
        return self.typed_or_stored("auth_secret")

    def clean_hook_key(self) -> str:
        return self.typed_or_stored("hook_key")

    def typed_or_stored(self, name: str) -> str:
        """What was typed, else what is there: a secret is never shown again."""
        typed: str = self.cleaned_data[name]
        if typed and not HEADER_VALUE.fullmatch(typed):
            raise ValidationError("It may only have letters, digits and signs without accents.")
        stored: str = getattr(self.instance, name)
        return typed or stored

    def clean_sender(self) -> str:
        """A number as E.164, a short code or a name as it is."""
        text = " ".join(self.cleaned_data["sender"].split())
        try:
            return (
                phones.parse_phone(text, self.country).e164
                if sum(map(str.isdigit, text)) >= 7
                else text
            )
        except phones.PhoneError as error:
            raise ValidationError(str(error)) from error

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        way = values.get("auth")
        name = values.get("auth_name") or ""
        if way == TextGateway.Auth.HEADER and not HEADER_NAME.fullmatch(name):
            self.add_error("auth_name", "Write the name of the header, such as X-Api-Key.")
        if way == TextGateway.Auth.BASIC and (not name or not name.isascii()):
            self.add_error("auth_name", "Write the name to sign in with.")
        if (
            way
            and way != TextGateway.Auth.NONE
            and "auth_secret" in values
            and not values["auth_secret"]
        ):
            self.add_error("auth_secret", "Write the password or token that goes with it.")
        if values.get("hook_key") and not HEADER_NAME.fullmatch(values.get("hook_header") or ""):
            if values.get("hook_header") or self.data.get("hook_key"):
                self.add_error(
                    "hook_header", "Write the header that holds the signature, such as X-Signature."
                )
            values["hook_key"] = ""  # an emptied header switches signing off
        return values


DEFAULT_TEMPLATE = {name: f"{{{name}}}" for name in ("to", "from", "text", "reference")}


class TrialForm(forms.Form):
    """Where a text message to try the gateway goes."""

    number = forms.CharField(label="Your own number", max_length=40)

    def __init__(self, *args: Any, country: str, **kwargs: Any) -> None:
        self.country = country
        super().__init__(*args, **kwargs)

    def clean_number(self) -> str:
        try:
            return phones.parse_phone(self.cleaned_data["number"], self.country).e164.partition(
                ";"
            )[0]
        except phones.PhoneError as error:
            raise ValidationError(str(error)) from error


def validate_gateway_url(url: str) -> str:
    """https, or http to a machine of one's own network:
    a password must not cross the internet in the clear."""
    try:
        parts = urlsplit(url)
        host = parts.hostname or ""
        _ = parts.port
    except ValueError as error:
        raise ValidationError("This is no address. Write it as https://…") from error
    if parts.scheme not in {"http", "https"} or not host or parts.username or parts.fragment:
        raise ValidationError(
            "Write an address as https://…, without a name, a password or a # in it."
        )
    if parts.scheme == "http" and not is_private_host(host):
        raise ValidationError(
            "Use https:// for a gateway on the internet; http:// only inside your own network."
        )
    return url


def is_private_host(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_private
    except ValueError:
        return False


def flatten_template(content: Any, start: str = "") -> dict[str, str]:
    """The template by dotted paths."""
    if isinstance(content, dict | list):
        pairs = content.items() if isinstance(content, dict) else enumerate(content)
        return {
            key: value
            for name, each in pairs
            for key, value in flatten_template(each, f"{start}{name}.").items()
        }
    return {start.removesuffix("."): str(content)}


def nest_template(found: dict[str, str]) -> Any:
    """Dotted paths as objects, and as lists where all names of a level are 0, 1, 2, …"""
    tree: dict[str, Any] = {}
    for path, value in found.items():
        if not FIELD_PATH_PATTERN.fullmatch(path):
            raise ValidationError(
                f"“{path[:40]}” is no name of a field. Write names with dots between them."
            )
        *above, last = path.split(".")
        place: Any = tree
        for name in above:
            place = place.setdefault(name, {})
            if not isinstance(place, dict):
                raise ValidationError(f"“{name[:40]}” is a value and a group at once.")
        if last in place:
            raise ValidationError(f"“{last[:40]}” is a value and a group at once.")
        place[last] = value
    return {name: numbered_as_lists(each) for name, each in tree.items()}


def numbered_as_lists(content: Any) -> Any:
    if not isinstance(content, dict):
        return content
    inner = {name: numbered_as_lists(each) for name, each in content.items()}
    return (
        list(inner.values())
        if list(inner) == [str(number) for number in range(len(inner))]
        else inner
    )
