"""What stands in for a finish, a timber, a number of coats or a shade that nobody knows: every one
that it may be, with its share."""

from dataclasses import dataclass

FinishShare = tuple[str, str, str, float]  # class, pigment, base, share


@dataclass(frozen=True)
class UnknownMix:
    """Shares that need not sum to one; they are taken against their sum.

    Parameters
    ----------
    finishes : tuple of (str, str, str, float)
        Finish class, pigment, base, and its share.
    species : tuple of (str, float)
        Species class and its share.
    coats : tuple of (float, float)
        Number of coats and its share.
    shades : tuple of (float, float)
        Part of the sun that is taken away, all the year, and its share.
    """

    finishes: tuple[FinishShare, ...]
    species: tuple[tuple[str, float], ...]
    coats: tuple[tuple[float, float], ...]
    shades: tuple[tuple[float, float], ...] = ((0.0, 4.0), (0.25, 2.0), (0.5, 1.0), (0.75, 1.0))

    @property
    def mean_shade(self) -> float:
        """Of the shades, each by its share."""
        total = sum(share for _, share in self.shades)
        return sum(shade * share for shade, share in self.shades) / total


# Every class of the published priors alike; two coats as usual, and most decks in the open (common
# practice, no source).
PUBLISHED_MIX = UnknownMix(
    finishes=(
        ("penetrating_oil", "none", "water", 1.0),
        ("clear_repellent", "none", "water", 1.0),
        ("repellent_preservative", "none", "water", 1.0),
        ("tinted", "none", "water", 1.0),
        ("semitransparent", "none", "water", 1.0),
        ("solid_film", "none", "water", 1.0),
        ("clear_film", "none", "water", 1.0),
    ),
    species=(("soft", 1.0), ("durable_soft", 1.0), ("hardwood", 1.0), ("modified", 1.0)),
    coats=((1, 1.0), (2, 2.0), (3, 1.0)),
)
