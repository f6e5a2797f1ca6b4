"""What goes wrong with exports, said in words."""


class ExportError(Exception):
    """It cannot be done; the message says why and what to do. Nothing was changed."""
