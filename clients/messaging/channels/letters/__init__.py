"""Letters: addresses in a window, one PDF a batch, posted by people."""

from clients.messaging.channels.letters.sheets import sheet_for_country

__all__ = ["sheet_for_country"]
