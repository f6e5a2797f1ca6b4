"""What the trade knows before the business has visits of its own:
every prior with its value and its source.

Marks: READ, the figure was read in the source named; MEMORY, it is remembered and was not checked;
JUDGEMENT, no figure was found and this is our own guess, wide enough for visits to correct it.
"""

from dataclasses import dataclass
from math import exp, log, sqrt
from typing import Literal

import numpy as np

from reminders.forecast.exposure import DESIGN_COLUMNS
from reminders.forecast.posterior import Posterior
from reminders.forecast.wear_path import PATH_NAMES, WearPath

REFERENCE_MONTHS = 16.0  # half the reference decks are due by then
REFERENCE_EARLY_MONTHS = 12.0  # one in five is due by then
NORMAL_QUANTILE_80 = 0.8416212335729143  # standard normal quantile at 80 %
REFERENCE_SD = log(REFERENCE_MONTHS / REFERENCE_EARLY_MONTHS) / NORMAL_QUANTILE_80  # 0.342
REFERENCE_PRIOR_SD = 0.15
DECK_SD = 0.16
LOG_SIGMA_PRIOR_SD = 0.25
# The parts together, with the doubt about the spread itself, give the reference deck its 0.342.
COAT_SD = sqrt(REFERENCE_SD**2 - REFERENCE_PRIOR_SD**2 - DECK_SD**2) / exp(LOG_SIGMA_PRIOR_SD**2)

WOOD_HANDBOOK = "Wood Handbook FPL-GTR-190 (2010) ch. 16"
OLD_HANDBOOK = "Wood Handbook FPL-GTR-113 (1999) table 15-3"
WOOD_COUNCIL = "Canadian Wood Council, Finishing exterior wood: performance factors"


@dataclass(frozen=True)
class CoefficientPrior:
    """One normal prior.

    Parameters
    ----------
    name : str
        The coefficient: a column of the design matrix, `reference`, `log_sigma` or `log_omega`.
    mean : float
        On the scale of log months.
    sd : float
        Standard deviation on the same scale.
    mark : {"READ", "MEMORY", "JUDGEMENT"}
        How well the value is known.
    source : str
        Where the value comes from.
    """

    name: str
    mean: float
    sd: float
    mark: Literal["READ", "MEMORY", "JUDGEMENT"]
    source: str


@dataclass(frozen=True)
class ObserverDoubt:
    """How often somebody grades a coat on the wrong side of the recoat limit.

    Parameters
    ----------
    name : str
        Who looks: `crew` for anybody of the business, or `client`.
    misclassification : float
        The chance; below one half.
    mark : {"READ", "MEMORY", "JUDGEMENT"}
        How well the value is known.
    source : str
        Where the value comes from.
    """

    name: str
    misclassification: float
    mark: Literal["READ", "MEMORY", "JUDGEMENT"]
    source: str


OBSERVER_DOUBTS = {
    doubt.name: doubt
    for doubt in (
        ObserverDoubt("crew", 0.01, "JUDGEMENT", "One visit in a hundred"),
        ObserverDoubt(
            "client", 0.2, "JUDGEMENT", "An untrained eye on three questions: one answer in five"
        ),
    )
}
CLIENT_MISCLASSIFICATION = OBSERVER_DOUBTS["client"].misclassification


def _prior_from_years(
    name: str, years: float, mark: Literal["READ", "MEMORY", "JUDGEMENT"], source: str
) -> CoefficientPrior:
    # A life in years against the reference deck; classes differ from product to product by about a
    # fifth.
    return CoefficientPrior(name, log(12 * years / REFERENCE_MONTHS), 0.20, mark, source)


COEFFICIENT_PRIORS: tuple[CoefficientPrior, ...] = (
    CoefficientPrior(
        "reference",
        log(REFERENCE_MONTHS),
        REFERENCE_PRIOR_SD,
        "JUDGEMENT",
        "Common practice, no source: clean and recoat every 12 to 16 months; read as 20 % due at 12"
        " and 50 % at 16",
    ),
    _prior_from_years(
        "finish_clear_repellent",
        0.8,
        "READ",
        f"{WOOD_COUNCIL}: 6-12 months; {WOOD_HANDBOOK}: about 1 year",
    ),
    _prior_from_years(
        "finish_repellent_preservative",
        1.4,
        "MEMORY",
        f"{OLD_HANDBOOK}: decking 1-2 years, 2-3 on rough",
    ),
    _prior_from_years(
        "finish_tinted",
        1.8,
        "READ",
        f"{WOOD_HANDBOOK}: 2-3 years vertical; Coatings 12(1):85: 12-15 months in Oregon",
    ),
    _prior_from_years(
        "finish_semitransparent",
        2.2,
        "READ",
        f"{WOOD_COUNCIL}: deck boards 1-2 years; {OLD_HANDBOOK} (memory): 2-3, 3-6",
    ),
    _prior_from_years(
        "finish_solid_film",
        2.0,
        "MEMORY",
        f"{OLD_HANDBOOK}: solid stain on decking 1-2, paint 2-3 years",
    ),
    _prior_from_years(
        "finish_clear_film", 1.0, "MEMORY", f"{WOOD_HANDBOOK}: clear films about 1-2 years"
    ),
    CoefficientPrior(
        "oil_light",
        0.10,
        0.10,
        "JUDGEMENT",
        "Pigment keeps out ultraviolet; too little of it in tinted finishes",
    ),
    CoefficientPrior("oil_dark", 0.10, 0.12, "JUDGEMENT", "More pigment, but a hotter surface"),
    CoefficientPrior(
        "colour_dark", log(0.8), 0.12, "READ", "BFS sheet 18 (opaque coatings): dark 20 % shorter"
    ),
    CoefficientPrior(
        "film_light", log(1.2), 0.12, "READ", "BFS sheet 18 (opaque coatings): light 20 % longer"
    ),
    CoefficientPrior(
        "base_solvent",
        0.05,
        0.10,
        "JUDGEMENT",
        f"{WOOD_HANDBOOK} lists oil-borne stains longer than water-borne",
    ),
    CoefficientPrior(
        "log_sun",
        -0.50,
        0.25,
        "JUDGEMENT",
        "From place to place, as in the clock: half of the wear follows the sun; Nordic advice"
        " (READ, a Finnish wood-care guide): oil once a year, no less often than elsewhere",
    ),
    CoefficientPrior(
        "log_openness",
        -0.60,
        0.25,
        "JUDGEMENT",
        "On one spot: pole/equator side life ratio 0.33-0.50 (BFS sheet 18, READ) against sun ratio"
        " 0.41-0.46, which is -1 on walls; less foot wear, and damp and mould in the shade",
    ),
    CoefficientPrior(
        "log_wet_days",
        -0.25,
        0.15,
        "JUDGEMENT",
        "Coatings 12(1):85: more fungus at the wetter site, no rate given",
    ),
    CoefficientPrior(
        "roof",
        log(2.75),
        0.25,
        "READ",
        f"{WOOD_COUNCIL}: covered 5-6 years against 1-3 in the open: 2.5 to 3 times",
    ),
    CoefficientPrior(
        "facing",
        -0.10,
        0.10,
        "JUDGEMENT",
        "A wall behind a deck that faces the pole takes away midday sun",
    ),
    CoefficientPrior(
        "airflow_poor",
        -0.10,
        0.10,
        "JUDGEMENT",
        "Boards over still, damp air dry from one side only",
    ),
    CoefficientPrior(
        "low_down", -0.05, 0.08, "JUDGEMENT", "Boards less than 0.4 m above the ground dry slower"
    ),
    CoefficientPrior(
        "species_durable_soft",
        -0.10,
        0.10,
        "READ",
        f"{WOOD_COUNCIL}: stain lasts less on soft low-density boards",
    ),
    CoefficientPrior(
        "species_hardwood",
        0.0,
        0.15,
        "JUDGEMENT",
        "Dense timber wears slower (Sell & Feist, memory) but takes up less oil",
    ),
    CoefficientPrior("species_modified", 0.05, 0.15, "JUDGEMENT", "Moves less"),
    CoefficientPrior(
        "film_on_durable_soft",
        0.20,
        0.15,
        "READ",
        f"{WOOD_COUNCIL}: films last longer on stable low-density species",
    ),
    CoefficientPrior(
        "texture_sawn",
        0.35,
        0.20,
        "READ",
        f"{WOOD_HANDBOOK}: half the spread rate, about twice the life; shrunk",
    ),
    CoefficientPrior(
        "texture_weathered",
        0.35,
        0.20,
        "MEMORY",
        f"{OLD_HANDBOOK}: 2-3 years smooth, 3-6 weathered; shrunk",
    ),
    CoefficientPrior(
        "film_on_weathered",
        -0.20,
        0.15,
        "MEMORY",
        "Williams, Winandy & Feist 1987: adhesion down 20 to 50 %",
    ),
    CoefficientPrior(
        "traffic_light",
        0.15,
        0.12,
        "JUDGEMENT",
        f"{WOOD_COUNCIL}: parts without wear 2-5 years against boards 1-2",
    ),
    CoefficientPrior(
        "traffic_heavy", log(0.75), 0.15, "JUDGEMENT", "No published factor; 0.6 to 0.9"
    ),
    CoefficientPrior(
        "salt_near",
        log(0.9),
        0.08,
        "JUDGEMENT",
        "No published factor; 0.8 to 0.95 within 1 km of surf",
    ),
    CoefficientPrior("salt_spray", log(0.8), 0.12, "JUDGEMENT", "No published factor"),
    CoefficientPrior("pool", -0.08, 0.10, "JUDGEMENT", "Splash and pool chemicals"),
    CoefficientPrior("litter_some", -0.05, 0.05, "JUDGEMENT", "Leaves hold water"),
    CoefficientPrior("litter_heavy", -0.15, 0.10, "JUDGEMENT", "Leaves hold water for weeks"),
    CoefficientPrior(
        "log2_coats", 0.20, 0.10, "JUDGEMENT", f"{WOOD_HANDBOOK}: more is not always taken up"
    ),
    CoefficientPrior(
        "preparation_strip", 0.05, 0.10, "JUDGEMENT", "Clean wood, but its first coat"
    ),
    CoefficientPrior(
        "preparation_none", -0.25, 0.15, "JUDGEMENT", "Finish over dirt and loose fibre"
    ),
    CoefficientPrior(
        "log_sigma",
        log(COAT_SD),
        LOG_SIGMA_PRIOR_SD,
        "JUDGEMENT",
        "What is left of 0.342 after the doubt about reference and deck",
    ),
    CoefficientPrior(
        "log_omega",
        log(DECK_SD),
        0.35,
        "JUDGEMENT",
        "Two alike decks seldom differ by more than a third",
    ),
)

assert [prior.name for prior in COEFFICIENT_PRIORS] == [  # noqa: S101 - of a table
    "reference",
    *DESIGN_COLUMNS,
    "log_sigma",
    "log_omega",
]

PUBLISHED_PRIOR = Posterior(
    names=tuple(prior.name for prior in COEFFICIENT_PRIORS),
    mean=np.array([prior.mean for prior in COEFFICIENT_PRIORS]),
    covariance=np.diag([prior.sd**2 for prior in COEFFICIENT_PRIORS]),
    version="prior-3",
)

# What stands upright or is trodden otherwise, against the boards of the same deck.
SURFACE_PRIORS: dict[str, CoefficientPrior] = {
    "rails": CoefficientPrior(
        "rails",
        log(2.2),
        0.25,
        "READ",
        f"{WOOD_COUNCIL}: parts without wear 2-5 years against boards 1-2; {OLD_HANDBOOK} (memory):"
        " siding 2 to 3 times as long as decks; common practice, no source: every 3 to 5 years",
    ),
    "screens": CoefficientPrior("screens", log(2.2), 0.25, "READ", "As rails"),
    "stairs": CoefficientPrior(
        "stairs", 0.0, 0.15, "JUDGEMENT", "As the boards: more feet, less sun; no figure found"
    ),
}

PATH_PRIORS: tuple[CoefficientPrior, ...] = (
    CoefficientPrior(
        "path_soaking", 0.3, 0.4, "JUDGEMENT", "Log of the exponent: wear comes a little late"
    ),
    CoefficientPrior("path_film", 0.3, 0.4, "JUDGEMENT", "The same for films"),
    CoefficientPrior("step_2", 0.0, 0.4, "JUDGEMENT", "Log of the wear from grade 2 to grade 3"),
    CoefficientPrior("step_1", 0.0, 0.4, "JUDGEMENT", "The same from 1 to 2"),
    CoefficientPrior("step_4", 0.0, 0.4, "JUDGEMENT", "The same from 3 to 4"),
    CoefficientPrior("step_5", 0.0, 0.4, "JUDGEMENT", "The same from 4 to 5"),
    CoefficientPrior(
        "noise_crew", log(0.5), 0.5, "JUDGEMENT", "Two of the crew often differ by a grade"
    ),
    CoefficientPrior("noise_client", log(0.9), 0.4, "JUDGEMENT", "An untrained eye"),
    CoefficientPrior("offset_client", 0.0, 0.4, "JUDGEMENT", "Grades by which clients see worse"),
)

assert tuple(prior.name for prior in PATH_PRIORS) == PATH_NAMES  # noqa: S101 - of a table

PUBLISHED_PATH = WearPath(np.array([prior.mean for prior in PATH_PRIORS]))
