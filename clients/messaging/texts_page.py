"""What the pages of texts show: which texts there are, and a text tried out with a client."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from babel import Locale

from clients.messaging import sms_parts, texts
from clients.messaging.law import LegalRules, contents, countries_of
from clients.messaging.models import MessageText
from clients.messaging.texts import MARKETING_PURPOSES, Wording, example_fields
from clients.messaging.unsendable import Unsendable
from clients.models import Business, Channel, Client, traits_of


@dataclass(frozen=True)
class TextListing:
    """One text of the list."""

    purpose: str
    channel: str
    wording: Wording
    language: str

    @property
    def lacks_page(self) -> bool:
        """Our own words, written before there was a page to lead to."""
        return self.wording.is_own and texts.lacks_client_page(
            self.wording, self.purpose, self.channel
        )

    @property
    def medium(self) -> str:
        return str(Channel(self.channel).label)

    @property
    def state(self) -> str:
        """What sets it apart from the standard wording in the language asked for; else empty."""
        if self.wording.language != self.language:
            return f"in {language_name(self.wording.language)}"
        return "your own" if self.wording.is_own else ""


def text_listings(
    business: Business, language: str
) -> Iterator[tuple[str, str, list[TextListing]]]:
    """Purpose, its name, and its text for each channel."""
    known = texts.Texts.load(business)
    for purpose, name in MessageText.Purpose.choices:
        yield (
            purpose,
            name,
            [
                TextListing(purpose, channel, known.wording(purpose, channel, language), language)
                for channel in Channel.values
            ],
        )


def languages_in_use(*also: str) -> list[tuple[str, str]]:
    """Code and name: those of the program, of the owner's texts and of clients."""
    own = MessageText.objects.order_by().values_list("language", flat=True).distinct()
    spoken = (
        Client.objects.current()
        .exclude(language="")
        .order_by()
        .values_list("language", flat=True)
        .distinct()
    )
    codes = dict.fromkeys(
        [*texts.text_languages(), *own, *filter(is_known_language, spoken), *also]
    )
    return [(code, language_name(code)) for code in codes]


def is_known_language(code: str) -> bool:
    return language_name(code) != code


def language_name(code: str) -> str:
    """“French (Canada)”, or the code itself if nobody knows it."""
    try:
        return Locale.parse(code, sep="-").get_display_name("en") or code
    except (ValueError, LookupError, TypeError):
        return code


@dataclass(frozen=True)
class TextPreview:
    """A text as one client would get it, or why it cannot be written."""

    client: Client | None
    written: texts.ComposedText | None = None
    problem: str = ""
    caution: str = ""
    size: sms_parts.SmsSize | None = None

    @property
    def text(self) -> str:
        return (
            self.written.text.replace("{unsubscribe_url}", "(the client's own link)")
            if self.written
            else ""
        )


def preview_text(
    words: Wording,
    *,
    business: Business,
    client: Client | None,
    purpose: str,
    channel: str,
    today: date,
) -> TextPreview:
    """This wording as the client would get it, or an example where there is none."""
    values = example_fields(
        client, purpose=purpose, channel=channel, language=words.language, business=business
    )
    try:
        written = texts.Texts(business, {}).fill(words, purpose, channel, values)
    except texts.TextProblem as problem:
        return TextPreview(client, problem=str(problem), size=sms_size_of(words.body, channel))
    caution = law_objection(written, business, client, purpose, channel, today)
    return TextPreview(client, written, caution=caution, size=sms_size_of(written.text, channel))


def sms_size_of(text: str, channel: str) -> sms_parts.SmsSize | None:
    return (
        sms_parts.measure_sms(texts.substitute_typography(text))
        if traits_of(channel).in_sms_parts
        else None
    )


def law_objection(
    written: texts.ComposedText,
    business: Business,
    client: Client | None,
    purpose: str,
    channel: str,
    today: date,
) -> str:
    """What the law of this client's place would miss in it, empty if nothing."""
    if purpose not in MARKETING_PURPOSES:
        return ""
    countries = countries_of(client) if client else {business.country}
    rule = LegalRules.load().rule_for_all(
        countries, sender_country=business.country, channel=channel, on=today
    )
    try:
        contents.check_required_contents(rule, business=business, text=written.text)
    except Unsendable as problem:
        return str(problem)
    return ""
