"""Forms of the mail server and its test."""

from typing import Any

from django import forms

from clients.forms.fields import needed_with_others
from clients.messaging.models import MailServer


class MailServerForm(forms.ModelForm):
    """Host, port, encryption, log-in; the password that is kept is never shown."""

    password = needed_with_others(
        forms.CharField(
            label="Password",
            required=False,
            strip=False,
            max_length=500,
            help_text="Empty keeps the one that is there.",
            widget=forms.PasswordInput(attrs={"autocomplete": "off"}),
        )
    )

    class Meta:
        model = MailServer
        fields = ["host", "port", "security", "username"]
        help_texts = {"host": "Such as mail.example.com; your mailbox provider names it."}

    def clean(self) -> dict[str, Any]:
        values = super().clean() or self.cleaned_data
        host = values.get("host", "")
        is_open = values.get("security") == MailServer.Security.NONE
        if is_open and values.get("password") and host not in {"localhost", "127.0.0.1", "::1"}:
            self.add_error("security", "Choose an encryption: the password would travel readable.")
        if host and any(letter.isspace() or letter in "/:@" for letter in host):
            self.add_error("host", "Write the bare name, such as mail.example.com.")
        has_kept = bool(self.instance.password_sealed)
        if values.get("username") and not values.get("password") and not has_kept:
            self.add_error("password", "A log-in name needs its password.")
        return values


class TestMailForm(forms.Form):
    """Where the test mail goes."""

    __test__ = False  # for pytest

    to = forms.EmailField(label="To", max_length=254)
