"""Ways of speaking to a client."""

from django.db import models


class Channel(models.TextChoices):
    """A way of speaking to a client."""

    EMAIL = "email", "E-mail"
    TEXT = "text", "Text message"
    LETTER = "letter", "Letter"
    CALL = "call", "Telephone call"


AUTOMATIC_CHANNELS = [
    Channel.EMAIL,
    Channel.TEXT,
]  # letters are posted and calls are made by people
