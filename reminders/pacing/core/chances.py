"""How likely a reminder leads to work:
a Beta law for each group of clients, and what is left of it in time."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Beta:
    """What is believed about a share.

    Parameters
    ----------
    alpha : float
        Successes, counted or believed.
    beta : float
        Failures, counted or believed.
    """

    alpha: float
    beta: float

    def __post_init__(self) -> None:
        if not (self.alpha > 0 and self.beta > 0):
            raise ValueError(f"yes and no must be above 0; got {self.alpha} and {self.beta}")

    @property
    def mean(self) -> float:
        return self.alpha / (self.alpha + self.beta)

    @property
    def sd(self) -> float:
        total = self.alpha + self.beta
        return float((self.alpha * self.beta / (total**2 * (total + 1))) ** 0.5)

    @property
    def cv(self) -> float:
        """The doubt about the share, over the share."""
        return self.sd / self.mean

    def updated(self, *, asked: int, accepted: int) -> "Beta":
        """Return the belief after some answers (the Beta law is conjugate to the binomial one).

        Parameters
        ----------
        asked : int
            Reminders whose time to answer is over.
        accepted : int
            Those that led to work.

        Returns
        -------
        Beta
            The posterior.
        """
        if not 0 <= accepted <= asked:
            raise ValueError(f"accepted must lie between 0 and asked; got {accepted} of {asked}")
        return Beta(self.alpha + accepted, self.beta + asked - accepted)


def remaining_chance(chance: float, weeks_waited: float, last_week: float) -> float:
    """Return the chance that is left when no answer has come for a while;
    answers are spread evenly over the time.

    Parameters
    ----------
    chance : float
        At the beginning.
    weeks_waited : float
        Weeks gone by.
    last_week : float
        Weeks after which no answer comes any more.

    Returns
    -------
    float
        By Bayes' rule; 0 when the time is over.
    """
    left = min(max(1 - weeks_waited / last_week, 0.0), 1.0) if last_week > 0 else 0.0
    return chance * left / (1 - chance * (1 - left)) if left else 0.0
