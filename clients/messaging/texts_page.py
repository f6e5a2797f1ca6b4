"""What the pages of texts show: which texts there are, and a text tried out with a client."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from babel import Locale

from clients.messaging import sms_parts, texts
from clients.messaging.law import Law, contents, countries_of
from clients.messaging.models import MessageText
from clients.messaging.texts.example import example
from clients.messaging.texts.fields import MARKETING
from clients.messaging.texts.standard import Wording
from clients.messaging.unsendable import Unsendable
from clients.models import Business, Client
from clients.models.channel import Channel


@dataclass(frozen=True)
class Listed:
    """One text of the list."""

    channel: str
    words: Wording
    asked_for: str

    @property
    def state(self) -> str:
        """Whose wording is in force, and in which language if not in the one asked for."""
        if self.words.language != self.asked_for:
            return f"in {language_name(self.words.language)} until you write it"
        return "our own words" if self.words.is_own else "the program's words"


def listed(business: Business, language: str) -> Iterator[tuple[str, str, list[Listed]]]:
    """Purpose, its name, and its text for each channel."""
    known = texts.Texts.load(business)
    for purpose, name in MessageText.Purpose.choices:
        yield (
            purpose,
            name,
            [Listed(channel, known.wording(purpose, channel, language), language) for channel in Channel.values],
        )


def languages_in_use(*also: str) -> list[tuple[str, str]]:
    """Code and name: those of the program, of the owner's texts and of clients."""
    own = MessageText.objects.order_by().values_list("language", flat=True).distinct()
    spoken = Client.objects.current().exclude(language="").order_by().values_list("language", flat=True).distinct()
    codes = dict.fromkeys([*texts.languages(), *own, *filter(is_language, spoken), *also])
    return [(code, language_name(code)) for code in codes]


def is_language(code: str) -> bool:
    return language_name(code) != code


def language_name(code: str) -> str:
    """“French (Canada)”, or the code itself if nobody knows it."""
    try:
        return Locale.parse(code, sep="-").get_display_name("en") or code
    except (ValueError, LookupError, TypeError):
        return code


@dataclass(frozen=True)
class Preview:
    """A text as one client would get it, or why it cannot be written."""

    client: Client | None
    written: texts.Written | None = None
    problem: str = ""
    caution: str = ""
    size: sms_parts.Size | None = None

    @classmethod
    def of(
        cls, words: Wording, *, business: Business, client: Client | None, purpose: str, channel: str, today: date
    ) -> "Preview":
        values = example(client, purpose=purpose, channel=channel, language=words.language, business=business)
        try:
            written = texts.Texts(business, {}).fill(words, purpose, channel, values)
        except texts.TextProblem as problem:
            return cls(client, problem=str(problem), size=measured(words.body, channel))
        caution = law_wants(written, business, client, purpose, channel, today)
        return cls(client, written, caution=caution, size=measured(written.text, channel))

    @property
    def text(self) -> str:
        return self.written.text.replace("{unsubscribe_url}", "(the client's own link)") if self.written else ""


def measured(text: str, channel: str) -> sms_parts.Size | None:
    return sms_parts.measure(sms_parts.plain(text)) if channel == Channel.TEXT else None


def law_wants(
    written: texts.Written, business: Business, client: Client | None, purpose: str, channel: str, today: date
) -> str:
    """What the law of this client's place would miss in it, empty if nothing."""
    if purpose not in MARKETING:
        return ""
    countries = countries_of(client) if client else {business.country}
    rule = Law.load().rule_for_all(countries, sender_country=business.country, channel=channel, on=today)
    try:
        contents.check(rule, business=business, text=written.text)
    except Unsendable as problem:
        return str(problem)
    return ""
