"""How likely a reminder leads to work: a Beta law for each group of clients, and what is left of it in time."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Beta:
    """What is believed about a share.

    Parameters
    ----------
    yes : float
        Successes, counted or believed.
    no : float
        Failures, counted or believed.
    """

    yes: float
    no: float

    def __post_init__(self) -> None:
        if not (self.yes > 0 and self.no > 0):
            raise ValueError(f"yes and no must be above 0; got {self.yes} and {self.no}")

    @property
    def mean(self) -> float:
        return self.yes / (self.yes + self.no)

    @property
    def sd(self) -> float:
        total = self.yes + self.no
        return float((self.yes * self.no / (total**2 * (total + 1))) ** 0.5)

    @property
    def cv(self) -> float:
        """The doubt about the share, over the share."""
        return self.sd / self.mean

    def learned(self, *, asked: int, accepted: int) -> "Beta":
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
        return Beta(self.yes + accepted, self.no + asked - accepted)


def still(chance: float, waited: float, last: float) -> float:
    """Return the chance that is left when no answer has come for a while; answers are spread evenly over the time.

    Parameters
    ----------
    chance : float
        At the beginning.
    waited : float
        Weeks gone by.
    last : float
        Weeks after which no answer comes any more.

    Returns
    -------
    float
        By Bayes' rule; 0 when the time is over.
    """
    left = min(max(1 - waited / last, 0.0), 1.0) if last > 0 else 0.0
    return chance * left / (1 - chance * (1 - left)) if left else 0.0
