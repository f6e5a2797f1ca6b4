"""What a reader of cells raises."""


class UnreadableCell(ValueError):  # noqa: N818 - it is no fault of the program
    """What stands in the cell cannot be used; the message says why and what may stand there."""
