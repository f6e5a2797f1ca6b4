"""The reasons of a forecast in words: for people of the business with months, for the client
without."""

from collections.abc import Mapping

from clients import display

MIN_SHOWN_MONTHS = 0.5  # months
# Factor of the core → what lengthens and what shortens the life of the coat. It counts only where
# the deck differs from the reference deck; where that can be in one way only, the words state this
# fact, whichever way the book has learned that it works.
FACTOR_PHRASES = {
    "finish": ("longer-lasting finish", "shorter-lived finish"),
    "pigment": ("helpful pigment", "pigment that runs hot"),
    "base": ("solvent-borne finish",) * 2,
    "sun": ("less sun than most places", "more sun than most places"),
    "shade": ("shade",) * 2,
    "wet_days": ("few wet days", "many wet days"),
    "roof": ("part under a roof",) * 2,
    "facing": ("faces away from the midday sun", "faces the midday sun"),
    "airflow": ("still, damp air below",) * 2,
    "species": ("timber that holds a finish", "timber that holds a finish badly"),
    "texture": ("rough or weathered boards",) * 2,
    "traffic": ("little walked on", "much walked on"),
    "salt": ("salt from the sea",) * 2,
    "pool": ("pool water",) * 2,
    "litter": ("leaves that lie wet",) * 2,
    "coats": ("extra coats", "a single coat"),
    "preparation": ("stripped before coating",) * 2,
    "own_history": ("earlier coats here lasted", "earlier coats here wore early"),
    "inspection": ("found sound on the last visit", "found worn on a visit"),
}

# The same for clients who read French; the business reads English.
FACTOR_PHRASES_FRENCH = {
    "finish": ("une finition qui dure", "une finition qui dure moins"),
    "pigment": ("un pigment qui protège", "une teinte qui chauffe au soleil"),
    "base": ("une finition au solvant",) * 2,
    "sun": ("peu de soleil", "beaucoup de soleil"),
    "shade": ("l'ombre",) * 2,
    "wet_days": ("peu de jours de pluie", "beaucoup de jours de pluie"),
    "roof": ("une partie sous toit",) * 2,
    "facing": ("à l'abri du soleil de midi", "face au soleil de midi"),
    "airflow": ("un air humide et immobile dessous",) * 2,
    "species": ("un bois qui tient bien la finition", "un bois qui tient mal la finition"),
    "texture": ("des planches rugueuses ou usées",) * 2,
    "traffic": ("peu de passage", "beaucoup de passage"),
    "salt": ("le sel de la mer",) * 2,
    "pool": ("l'eau de la piscine",) * 2,
    "litter": ("des feuilles qui restent mouillées",) * 2,
    "coats": ("plus de couches que d'habitude", "une seule couche"),
    "preparation": ("un décapage avant la finition",) * 2,
    "own_history": (
        "les couches précédentes ont tenu ici",
        "les couches précédentes ont peu tenu ici",
    ),
    "inspection": ("trouvée saine à la dernière visite", "trouvée usée lors d'une visite"),
}
PHRASES_BY_LANGUAGE = {"en": FACTOR_PHRASES, "fr": FACTOR_PHRASES_FRENCH}


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


def factor_phrase(name: str, value: float, language: str = "en") -> str:
    longer, shorter = PHRASES_BY_LANGUAGE[language].get(name, (name.replace("_", " "),) * 2)
    return longer if value > 0 else shorter


def ranked_reasons(contributions: Mapping[str, float], limit: int = 4) -> list[str]:
    """“much walked on −2 months”, strongest first;
    empty when the deck is like the reference deck."""
    return [
        f"{factor_phrase(name, value)} {signed_months(value)}"
        for name, value in strongest_factors(contributions, limit)
    ]


def reasons_for_client(
    contributions: Mapping[str, float], limit: int = 3, language: str = "en"
) -> str:
    """For the client, without figures: “much walked on, salt from the sea”;
    nothing in a language not known here."""
    if language not in PHRASES_BY_LANGUAGE:
        return ""
    return ", ".join(
        factor_phrase(name, value, language)
        for name, value in strongest_factors(contributions, limit)
    )


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
