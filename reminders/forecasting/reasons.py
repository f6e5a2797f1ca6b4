"""The reasons of a forecast in words: for people of the business with months, for the client
without."""

from collections.abc import Mapping

from clients import display
from clients.messaging.texts import FALLBACK_LANGUAGE, standard_phrases, text_languages
from jobs.partial_dates import Precision

MIN_SHOWN_MONTHS = 0.5  # months
UNKNOWN_FACTOR = "unknown"  # for people of the business only
UNKNOWN_PHRASES = {
    "finish": "the product of the last coat is not known",
    "species": "the timber is not known",
    "coats": "nobody counted the coats",
    "shade": "the shade is not known",
    "start": "the day of the last coat is not known",
}
START_PHRASES = {
    Precision.MONTH: "only the month of the last coat is known",
    Precision.SEASON: "only the season of the last coat is known",
    Precision.YEAR: "only the year of the last coat is known",
}


def signed_months(value: float) -> str:
    """“+3 months” or “−2 months”, to half a month."""
    halves = round(abs(value) * 2) / 2
    sign = "+" if value > 0 else "−"
    return f"{sign}{display.format_number(halves)} month{'' if halves == 1 else 's'}"


def strongest_factors(contributions: Mapping[str, float], limit: int) -> list[tuple[str, float]]:
    """The factors that matter, strongest first."""
    ranked = [
        (name, value) for name, value in contributions.items() if abs(value) >= MIN_SHOWN_MONTHS
    ]
    return sorted(ranked, key=lambda pair: -abs(pair[1]))[:limit]


def factor_phrase(name: str, value: float, language: str = FALLBACK_LANGUAGE) -> str:
    """What lengthens and what shortens the life of the coat, from the words of the language.

    A factor counts only where the deck differs from the reference deck; where that can be in one
    way only, there is one phrase for both, which states this fact, whichever way the book has
    learned that it works.
    """
    phrase = standard_phrases(language, "factors").get(name, name.replace("_", " "))
    if isinstance(phrase, str):
        return phrase
    longer, shorter = phrase
    return str(longer if value > 0 else shorter)


def ranked_reasons(contributions: Mapping[str, float], limit: int = 4) -> list[str]:
    """“much walked on −2 months”, strongest first;
    empty when the deck is like the reference deck."""
    return [
        f"{factor_phrase(name, value)} {signed_months(value)}"
        for name, value in strongest_factors(contributions, limit)
    ]


def reasons_for_client(
    contributions: Mapping[str, float], limit: int = 3, language: str = FALLBACK_LANGUAGE
) -> str:
    """For the client, without figures: “much walked on, salt from the sea”;
    nothing in a language not known here."""
    if language not in text_languages():
        return ""
    known = {name: value for name, value in contributions.items() if name != UNKNOWN_FACTOR}
    return ", ".join(
        factor_phrase(name, value, language) for name, value in strongest_factors(known, limit)
    )


def missing_phrases(unknowns: Mapping[str, float], precision: Precision) -> list[tuple[str, float]]:
    """What is not known of a coat, with the months that knowing it takes off the window; what
    narrows it most comes first."""
    ranked = sorted(unknowns.items(), key=lambda pair: -pair[1])
    start = {"start": START_PHRASES.get(precision, UNKNOWN_PHRASES["start"])}
    return [((UNKNOWN_PHRASES | start)[name], months) for name, months in ranked]


def missing_reasons(unknowns: Mapping[str, float], precision: Precision) -> list[str]:
    """Those that matter, in words, for a line of a list."""
    return [
        words
        for words, months in missing_phrases(unknowns, precision)
        if months >= MIN_SHOWN_MONTHS
    ]


def factors_with_months(contributions: Mapping[str, float]) -> list[tuple[str, str]]:
    """Every factor with its months to a tenth, strongest first, for the deck page."""
    ranked = sorted(contributions.items(), key=lambda pair: -abs(pair[1]))
    return [
        (
            factor_phrase(name, value),
            f"{'+' if value > 0 else '−'}{display.format_number(abs(value))}",
        )
        for name, value in ranked
    ]
