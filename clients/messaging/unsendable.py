"""The one way in which a message is refused before it is in the outbox."""


class Unsendable(ValueError):  # noqa: N818 - callers read better
    """The message cannot be sent as it is; the text says what to change."""
