"""How finishes end: at what age a worn coat takes more work, when only a strip will do, and from
what chance of that on which kit is taken along.

Films fail by peeling and build: they have two limit states, and past the second one a new coat goes
with the flakes (Grüll et al. 2011, Eur. J. Wood Prod. 69:443; Wood Handbook FPL-GTR-190 table 16-5:
film formers are cleaned and topcoated if sound, otherwise removed). Oils wear and grey: they have
one limit state, and past it are brushed off and recoated for a long time (the same two), only with
more work.
"""

from dataclasses import dataclass

import numpy as np

from reminders.forecast.arrays import Floats
from reminders.forecast.coats import FILM_CLASSES, Coats
from reminders.forecast.intervals import STRIP_RATIO


@dataclass(frozen=True)
class WearLimits:
    """The limits of one kind of finish, in lives of its coat (a life ends at the recoat limit).

    Parameters
    ----------
    strip_ratio : float
        Age from which only a strip will do.
    protected_ratio : float
        Age up to which the coat still protects.
    worn_extra : float
        What a recoat past the recoat limit costs more, in prices of a recoat.
    """

    strip_ratio: float
    protected_ratio: float
    worn_extra: float


FILM_WEAR = WearLimits(STRIP_RATIO, STRIP_RATIO, 0.0)
# Three lives: common practice, no source; boards that have greyed and furred so long take up oil
# unevenly. Twice the work on a worn oil: brightening, sanding and a second coat beside cleaning and
# one coat (judgement, by minutes a square metre of 3 + 4 against 3 + 1.5 + 3 + 8).
OIL_WEAR = WearLimits(3.0, 1.0, 1.0)


def film_shares(coats: Coats) -> Floats:
    """Return how far each finish is a film.

    Parameters
    ----------
    coats : Coats
        The coats.

    Returns
    -------
    ndarray, shape (n,)
        1 for a film, 0 for an oil, the share of films in the mix where the finish is not known.
    """
    total = sum(share for *_, share in coats.mix.finishes)
    films = sum(share for name, *_, share in coats.mix.finishes if name in FILM_CLASSES)
    return np.where(coats.finish_class < 0, films / total, coats.is_film)


def strip_ratios(coats: Coats) -> Floats:
    """Return the age from which only a strip will do, in lives of the coat.

    Parameters
    ----------
    coats : Coats
        The coats.

    Returns
    -------
    ndarray, shape (n,)
        That of films or of oils; between the two, on the log scale, where the finish is not known.
    """
    film = film_shares(coats)
    return FILM_WEAR.strip_ratio**film * OIL_WEAR.strip_ratio ** (1 - film)


# What going with the wrong kit costs, in hours of the crew on a deck of 30 m² (a visit of 1 h, a
# recoat of 0.25 and a strip of 0.6 h/m²; judgement, as where no price list says the minutes).
# Half of the hours that fall out are filled with other work (judgement).
LOOK_HOURS = 1.0
RECOAT_HOURS = 1.0 + 30 * 0.25
WRONG_RECOAT_HOURS = 1.0 + 0.5 * 30 * 0.25  # a visit for nothing, and the rest of the day
WRONG_STRIP_HOURS = 0.5 * 30 * (0.6 - 0.25)  # kept free for a strip that was not needed
# Looking first costs less than a recoat at a venture from p · WRONG_RECOAT = LOOK on, and less than
# a strip at a venture up to (1 − p) · WRONG_STRIP = LOOK: 0.21 and 0.81, taken as 20 and 80 %.
LOOK_CHANCE = round(LOOK_HOURS / WRONG_RECOAT_HOURS, 1)
STRIP_CHANCE = round(1 - LOOK_HOURS / WRONG_STRIP_HOURS, 1)
LOOK_HOLDS_DAYS = 183.0  # what one of us saw on the deck stands so long (judgement)
