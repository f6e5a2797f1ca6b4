"""The form under each call: how it ended, and a word about it."""

from django import forms

from clients.messaging.models import CallNote


class CallForm(forms.ModelForm):
    """The result is the button that was pressed."""

    class Meta:
        model = CallNote
        fields = ["result", "note"]
        error_messages = {"result": {"required": "Press the button that says how the call ended."}}
