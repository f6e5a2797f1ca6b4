"""Whether a text can be used: known fields only, no stray brace, and what every message of its kind
must hold."""

from clients.messaging.texts.fields import (
    FIELD_PATTERN,
    MARKETING_PURPOSES,
    UNSUBSCRIBE_FIELD,
    TextProblem,
    fields_of,
)
from clients.models.channel import traits_of


def check_wording(*, purpose: str, channel: str, subject: str, body: str) -> None:
    """Raises `TextProblem` naming the field and what to do."""
    check_subject(subject, purpose, channel)
    check_body(body, purpose, channel)


def check_subject(subject: str, purpose: str, channel: str) -> None:
    check_fields("subject", subject, purpose, channel)
    if "\n" in subject or "\r" in subject or UNSUBSCRIBE_FIELD in subject:
        raise TextProblem("The subject is one line, without the link to unsubscribe.")
    if traits_of(channel).needs_subject and not subject.strip():
        raise TextProblem("An e-mail needs a subject.")


def check_body(body: str, purpose: str, channel: str) -> None:
    check_fields("text", body, purpose, channel)
    if not body.strip():
        raise TextProblem("The text is empty.")
    name = traits_of(channel).opt_out_field
    if name and purpose in MARKETING_PURPOSES and f"{{{name}}}" not in body:
        raise TextProblem(
            f"A reminder or offer by this way must hold {{{name}}}. Put it on a line near the end."
        )


def check_fields(words: str, text: str, purpose: str, channel: str) -> None:
    allowed = fields_of(purpose, channel)
    for name in FIELD_PATTERN.findall(text):
        if name not in allowed:
            raise TextProblem(
                f"The {words} has {{{name[:40]}}}, which is no field here. Choose one of those"
                " listed."
            )
    rest = FIELD_PATTERN.sub("", text)
    for brace in "{}":
        if brace in rest:
            raise TextProblem(
                f"The {words} has a single {brace}. Braces stand in pairs around the name of a"
                " field."
            )
