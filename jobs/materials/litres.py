"""How many litres an area takes: by the wet film of a stripper, or by the spread rate of a
finish."""

from decimal import ROUND_CEILING, Decimal

CENTILITRE = Decimal("0.01")
# What sawn or weathered wood leaves of a spread rate. Finishes that soak in: half, as the Wood
# Handbook (FPL-GTR-190, ch. 16, semitransparent stain) has it, 4.9 to 9.8 m² a litre on smooth wood
# and 2.4 to 4.9 on sawn or weathered. Films lie on the wood: coating handbooks take 5 to 20 % more
# for roughness, here the whole 20.
ROUGH_SHARE = {"soaks_in": Decimal("0.5"), "film": Decimal("0.8")}
# What the density of the timber does to a finish that soaks in (common practice, no source; a
# judgement).
POROSITY_SHARE = {
    "": Decimal(1),  # timber not known: as on the data sheet
    "soft": Decimal(1),
    "durable_soft": Decimal("0.9"),
    "hardwood": Decimal("1.15"),
    "modified": Decimal(1),
}


class MaterialError(ValueError):
    """A figure with which nothing can be calculated; the message names it and says what to do."""


def expected_spread(
    stated_m2_per_l: Decimal, *, texture: str, species_class: str, is_film: bool
) -> Decimal:
    """The spread rate [m²/L a coat] to be expected on this timber, from the one that holds on
    smooth softwood."""
    require_positive(
        stated_m2_per_l, "The spread rate", "Enter what the data sheet says, such as 9 m²/L."
    )
    rough = Decimal(1) if texture == "smooth" else ROUGH_SHARE["film" if is_film else "soaks_in"]
    porosity = Decimal(1) if is_film else POROSITY_SHARE[species_class]
    return stated_m2_per_l * rough * porosity


def litres_at_spread(
    *, area_m2: Decimal, coats: int, spread_m2_per_l: Decimal, loss_share: Decimal = Decimal(0)
) -> Decimal:
    """Litres [L] for so many coats, rounded up to the centilitre:
    area · coats / (spread · (1 − loss))."""
    require_positive(area_m2, "The area", "Measure the deck, or enter its area on its page.")
    require_positive(
        spread_m2_per_l, "The spread rate", "Enter what the data sheet says, such as 9 m²/L."
    )
    require_positive(Decimal(coats), "The number of coats", "Enter 1 or more.")
    return rounded_up(area_m2 * coats / (spread_m2_per_l * remaining_share(loss_share)))


def litres_at_film(
    *, area_m2: Decimal, film_mm: Decimal, applications: int = 1, loss_share: Decimal = Decimal(0)
) -> Decimal:
    """Litres [L] for a wet film, rounded up to the centilitre:
    one millimetre is one litre on a square metre."""
    require_positive(area_m2, "The area", "Measure the deck, or enter its area on its page.")
    require_positive(film_mm, "The wet film", "Enter what the data sheet says, such as 1 mm.")
    require_positive(Decimal(applications), "The number of applications", "Enter 1 or more.")
    return rounded_up(area_m2 * film_mm * applications / remaining_share(loss_share))


def remaining_share(loss_share: Decimal) -> Decimal:
    """What is left for the wood when a share stays in tray and tool."""
    if not 0 <= loss_share < 1:
        raise MaterialError(
            "The loss must be at least 0 and less than 100 %. Change it on the product's page."
        )
    return 1 - loss_share


def rounded_up(litres: Decimal) -> Decimal:
    return litres.quantize(CENTILITRE, rounding=ROUND_CEILING)


def require_positive(value: Decimal, name: str, cure: str) -> None:
    if not value.is_finite() or value <= 0:
        raise MaterialError(f"{name} must be more than 0. {cure}")
