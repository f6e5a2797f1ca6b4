"""The coats on a deck as layers side by side, with the mark beyond which they come off."""

from dataclasses import dataclass


@dataclass(frozen=True)
class CoatLayer:
    """One coat: where it begins, and whether it lies beyond the mark."""

    x: int
    is_beyond: bool


@dataclass(frozen=True)
class CoatLayers:
    """Everything `reminders/_coat_layers.html` draws; of very many coats only the first."""

    STEP = 16
    LAYER = 13
    MOST = 12

    coats: int
    limit: int
    layers: list[CoatLayer]

    @property
    def width(self) -> int:
        """Room for the layers and, where there are fewer, for the mark."""
        return max(len(self.layers), self.limit + 1) * self.STEP

    @property
    def mark_x(self) -> float:
        return self.limit * self.STEP - (self.STEP - self.LAYER) / 2


def coat_layers(coats: int, limit: int) -> CoatLayers:
    """Lay out `coats` layers; those past `limit` lie beyond the mark."""
    shown = range(min(coats, CoatLayers.MOST))
    return CoatLayers(coats, limit, [CoatLayer(at * CoatLayers.STEP, at >= limit) for at in shown])
