"""The passphrase of a backup: from the environment or typed, never an argument that others see."""

import getpass
import os
import sys

from django.core.management.base import CommandError

VARIABLE = "BACKUP_PASSPHRASE"


def new_passphrase(*, is_asked_for: bool) -> str:
    """For a new backup: the environment's, else typed twice if asked for, else none."""
    known = os.environ.get(VARIABLE, "")
    if known or not is_asked_for:
        return known
    typed = type_passphrase("Passphrase for the backup: ")
    if typed != type_passphrase("Once more: "):
        raise CommandError("The two are not the same. Nothing was written.")
    return typed


def known_passphrase() -> str:
    """For a backup that is encrypted."""
    return os.environ.get(VARIABLE, "") or type_passphrase("Passphrase of the backup: ")


def type_passphrase(prompt: str) -> str:
    if not sys.stdin or not sys.stdin.isatty():
        raise CommandError(f"A passphrase is needed: set {VARIABLE}, or type it at a terminal.")
    typed = getpass.getpass(prompt)
    if not typed:
        raise CommandError("The passphrase is empty. Nothing was done.")
    return typed
