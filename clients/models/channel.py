"""Ways of speaking to a client, and what the program needs to know of each: the rest of the code
asks for a trait, not which channel it is."""

from dataclasses import dataclass
from enum import Enum

from django.db import models
from django.utils.translation import gettext_lazy as _

from clients.notation import StrOrPromise


class Channel(models.TextChoices):
    """A way of speaking to a client."""

    EMAIL = "email", "E-mail"
    TEXT = "text", "Text message"
    LETTER = "letter", "Letter"
    CALL = "call", "Phone call"


class AddressKind(Enum):
    """What a message is addressed to; the value is said of a client who has none."""

    MAILBOX = "There is no e-mail address."
    NUMBER = "There is no mobile phone number."
    POSTAL = "There is no postal address."


@dataclass(frozen=True, kw_only=True)
class ChannelTraits:
    """What sets one channel apart from another."""

    address: AddressKind
    contact_kinds: tuple[str, ...] = ()  # `ContactPoint.Kind`, the first tried first
    machine: str = ""  # what takes its messages, in words; none where people print, post or phone
    through_gateway: bool = False  # the text message gateway, its reports, answers and prices
    in_sms_parts: bool = False  # letters and parts of 3GPP TS 23.038
    disturbs: bool = False  # rings or buzzes: not in quiet hours
    is_spoken: bool = False  # somebody says it instead of sending it
    on_one_line: bool = False  # no subject, and the lines of a block run on
    needs_subject: bool = False
    carries_html: bool = False
    carries_files: bool = False
    opt_out_field: str = ""  # of texts; a reminder or offer must hold it
    declares_advertisement: bool = False  # its texts may say that they are one
    told_words: str = "told"  # what became of its messages, after a number
    law: str = ""  # the medium of the law's table that it counts as; empty means its own
    consent_label: StrOrPromise
    consent_wording: StrOrPromise  # a whole sentence, for it is agreed to as it stands

    @property
    def is_by_number(self) -> bool:
        return self.address is AddressKind.NUMBER

    @property
    def is_by_mailbox(self) -> bool:
        return self.address is AddressKind.MAILBOX

    @property
    def is_by_post(self) -> bool:
        return self.address is AddressKind.POSTAL

    @property
    def has_opt_out_link(self) -> bool:
        return self.opt_out_field == "unsubscribe_url"


CHANNEL_TRAITS: dict[str, ChannelTraits] = {
    Channel.EMAIL: ChannelTraits(
        address=AddressKind.MAILBOX,
        contact_kinds=("email",),
        machine="mail server",
        told_words="mailed",
        needs_subject=True,
        carries_html=True,
        carries_files=True,
        opt_out_field="unsubscribe_url",
        declares_advertisement=True,
        consent_label=_("By e-mail"),
        consent_wording=_(
            "{business} may e-mail me reminders and offers for the care of my decks, to {address}."
            " Each message says how to end it."
        ),
    ),
    Channel.TEXT: ChannelTraits(
        address=AddressKind.NUMBER,
        contact_kinds=("mobile",),
        machine="text message gateway",
        told_words="by text message",
        through_gateway=True,
        in_sms_parts=True,
        disturbs=True,
        on_one_line=True,
        opt_out_field="stop_line",
        consent_label=_("By text message"),
        consent_wording=_(
            "{business} may send me text messages with reminders and offers for the care of my"
            " decks, to {address}, also by an automatic system. Answering STOP ends it; my phone"
            " company may charge for messages."
        ),
    ),
    Channel.LETTER: ChannelTraits(
        address=AddressKind.POSTAL,
        told_words="to print",
        carries_files=True,
        consent_label=_("By letter"),
        consent_wording=_(
            "{business} may send me letters with reminders and offers for the care of my decks. A"
            " word from me ends it."
        ),
    ),
    Channel.CALL: ChannelTraits(
        address=AddressKind.NUMBER,
        contact_kinds=("mobile", "phone"),
        told_words="to phone",
        disturbs=True,
        is_spoken=True,
        on_one_line=True,
        consent_label=_("By phone call"),
        consent_wording=_(
            "{business} may phone me at {address} about the care of my decks. A word from me ends"
            " it."
        ),
    ),
}


def traits_of(channel: str) -> ChannelTraits:
    return CHANNEL_TRAITS[channel]


def channels_with(trait: str) -> list[Channel]:
    """The channels that have a trait, by its name: `channels_with("machine")`."""
    return [each for each in Channel if getattr(CHANNEL_TRAITS[each], trait)]
