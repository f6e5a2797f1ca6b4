"""The numbers beside a picture."""

MOST_LEVELS = 5


def grid_step(most: float, *, least: int = 1) -> int:
    """From one level to the next: 1, 2 or 5 and noughts behind it, so that five reach `most`."""
    power = 1
    while True:
        for step in (power, 2 * power, 5 * power):
            if step >= least and most <= MOST_LEVELS * step:
                return step
        power *= 10
