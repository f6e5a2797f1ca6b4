"""What one more look at a coat is worth before anybody has looked: the expected gain of doing the
best of several things by what is seen.

Value of information (Raiffa & Schlaifer 1961, from memory): what the best choice costs now, less
what the best choice after each finding costs, each finding weighed by its chance.
"""

from dataclasses import dataclass

import numpy as np

from reminders.forecast.arrays import Floats
from reminders.forecast.clock import CLOCK_WEIGHTS, ClockWeights
from reminders.forecast.coats import Coats
from reminders.forecast.intervals import STRIP_RATIO
from reminders.forecast.posterior import Posterior
from reminders.forecast.prediction import inspected_lives
from reminders.forecast.priors import OBSERVER_DOUBTS
from reminders.forecast.wear_limits import (
    FILM_WEAR,
    OIL_WEAR,
    RECOAT_HOURS,
    WRONG_RECOAT_HOURS,
    WRONG_STRIP_HOURS,
    WearLimits,
    film_shares,
)

DAYS_A_MONTH = 365.25 / 12
MONTHS_AHEAD = 18  # the work is done now, or in any month up to then
# A month without protection counts as much against waiting as one with it counts for it (judgement;
# without it a worn oil could lie bare for nothing, and to look at it would be worth nothing).
BARE_MONTH = 1.0
# A worn oil takes more work the longer it is left; all of it from so many lives on (judgement;
# `replacement` counts it from the day on which it is worn).
SPENT_RATIO = STRIP_RATIO


@dataclass(frozen=True)
class LookSkill:
    """What somebody who looks can tell.

    Parameters
    ----------
    misclassification : float
        Chance of another finding than the right one.
    sees_strip : bool
        Whether they tell a coat that only a strip will mend from one that is merely worn.
    """

    misclassification: float
    sees_strip: bool


CLIENT_SKILL = LookSkill(OBSERVER_DOUBTS["client"].misclassification, sees_strip=False)
CREW_SKILL = LookSkill(OBSERVER_DOUBTS["crew"].misclassification, sees_strip=True)


@dataclass(frozen=True)
class WearChances:
    """How far n coats of one kind of finish may be gone, on the days of k choices equally far
    apart; the first is the day of the look.

    Parameters
    ----------
    worn : ndarray, shape (n,)
        Chance that each is worn on the day of the look.
    spent : ndarray, shape (n, k)
        Chance that each takes more work by then.
    unprotected : ndarray, shape (n, k)
        Chance that it protects no longer.
    strip : ndarray, shape (n, k)
        Chance that only a strip will do.
    """

    worn: Floats
    spent: Floats
    unprotected: Floats
    strip: Floats


@dataclass(frozen=True)
class ChoiceCosts:
    """What the choices cost, in any currency.

    Parameters
    ----------
    recoat : float
        Price of a recoat.
    strip : float
        Price of a strip.
    saved : ndarray, shape (n,)
        What waiting from one choice to the next saves while the coat protects: the share of a
        recoat that lasts that long.
    spent_extra : float
        What a recoat costs more where it takes more work.
    bare : float
        What waiting from one choice to the next costs while it protects no longer, in units of
        `saved`.
    wrong_recoat, wrong_strip : float
        What coming for a recoat costs where only a strip will do, and the other way round.
    """

    recoat: float
    strip: float
    saved: Floats
    spent_extra: float = 0.0
    bare: float = 0.0
    wrong_recoat: float = 0.0
    wrong_strip: float = 0.0


@dataclass(frozen=True)
class FinishKind:
    """One kind of finish that n coats may have.

    Parameters
    ----------
    share : ndarray, shape (n,)
        How likely each has it; over all kinds 1.
    chances : WearChances
        How far gone it would be.
    costs : ChoiceCosts
        What the choices would cost.
    """

    share: Floats
    chances: WearChances
    costs: ChoiceCosts

    def costs_by_finding(self, skill: LookSkill) -> Floats:
        """Return what coming for a recoat, and for a strip, costs on each day together with each
        finding, weighed by the chance of both and by the share.

        Parameters
        ----------
        skill : LookSkill
            Of whoever looks.

        Returns
        -------
        ndarray, shape (findings, 2, n, k)
            Summed over the findings it is what the choices cost without a look.
        """
        costs = self.costs
        found = {
            name: _by_finding(event, self.chances, skill)
            for name, event in {
                "any": np.ones_like(self.chances.strip),
                "spent": self.chances.spent,
                "unprotected": self.chances.unprotected,
                "strip": self.chances.strip,
            }.items()
        }
        protected = found["any"] - (1 + costs.bare) * found["unprotected"]
        kept = np.cumsum(protected[..., :-1], axis=-1)
        saved = costs.saved[:, None] * np.pad(kept, ((0, 0), (0, 0), (1, 0)))
        strip_extra = costs.strip - costs.recoat - costs.spent_extra
        work = (
            costs.recoat * found["any"]
            + costs.spent_extra * found["spent"]
            + strip_extra * found["strip"]
            - saved
        )
        by_kit = [
            work + costs.wrong_recoat * found["strip"],
            work + costs.wrong_strip * (found["any"] - found["strip"]),
        ]
        return self.share[:, None] * np.stack(by_kit, axis=1)


def _by_finding(event: Floats, chances: WearChances, skill: LookSkill) -> Floats:
    # Chance of an event together with each finding. All events are “the life ended by some age”:
    # of two such the smaller lies within the larger.
    limits = [chances.worn[:, None]]
    if skill.sees_strip:
        limits.insert(0, chances.strip[:, :1])
    below = [np.zeros_like(event), *(np.minimum(event, limit) for limit in limits), event]
    truly = np.diff(np.stack(below), axis=0)
    wrong = skill.misclassification / (len(truly) - 1)
    return (1 - skill.misclassification - wrong) * truly + wrong * event


def value_of_look(kinds: list[FinishKind], skill: LookSkill) -> Floats:
    """Return what a look is worth before choosing when to come, and for what.

    Parameters
    ----------
    kinds : list of FinishKind
        What the finishes of n coats may be.
    skill : LookSkill
        Of whoever looks.

    Returns
    -------
    ndarray, shape (n,)
        Not below 0; 0 where no finding would change the choice.
    """
    costs = np.sum([kind.costs_by_finding(skill) for kind in kinds], axis=0)
    blind = costs.sum(axis=0).min(axis=(0, 2))
    informed = costs.min(axis=(1, 3)).sum(axis=0)
    return np.maximum(blind - informed, 0.0)


def look_values(
    coats: Coats,
    posterior: Posterior,
    today: float,
    *,
    strip_price: float,
    skill: LookSkill = CLIENT_SKILL,
    weights: ClockWeights = CLOCK_WEIGHTS,
) -> Floats:
    """Return what a look at each coat is worth, in prices of a recoat.

    Parameters
    ----------
    coats : Coats
        The running coats.
    posterior : Posterior
        What is believed.
    today : float
        In days since 1970-01-01.
    strip_price : float
        Price of a strip in prices of a recoat.
    skill : LookSkill
        Of whoever looks.
    weights : ClockWeights
        What the seasonal clock follows.

    Returns
    -------
    ndarray, shape (n,)
        Shares of the price of a recoat, over the whole decision.
    """
    lives = inspected_lives(coats, posterior, weights)
    days = np.full((MONTHS_AHEAD + 1, len(coats)), float(today))
    days += DAYS_A_MONTH * np.arange(MONTHS_AHEAD + 1)[:, None]

    def chances(limits: WearLimits, ratio: float) -> Floats:
        # Given that a recoat still did when one of us last looked.
        gone = lives.chance_over(coats.recoatable_on, limits.strip_ratio)[:, None]
        passed = lives.chance_over(days, ratio).T
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(gone < 1, np.clip((passed - gone) / (1 - gone), 0.0, 1.0), 1.0)

    film = film_shares(coats)
    kinds = []
    for share, limits in ((film, FILM_WEAR), (1 - film, OIL_WEAR)):
        costs = ChoiceCosts(
            1.0,
            # An oil long gone is stripped for no less than its worn boards take to recoat.
            max(strip_price, 1.0 + limits.worn_extra),
            np.exp(-lives.belief.mean),
            limits.worn_extra,
            BARE_MONTH,
            WRONG_RECOAT_HOURS / RECOAT_HOURS,
            WRONG_STRIP_HOURS / RECOAT_HOURS,
        )
        passed = WearChances(
            chances(limits, 1.0)[:, 0],
            chances(limits, SPENT_RATIO),
            chances(limits, limits.protected_ratio),
            chances(limits, limits.strip_ratio),
        )
        kinds.append(FinishKind(share, passed, costs))
    return value_of_look(kinds, skill)
