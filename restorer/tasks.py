"""What the alarm clock wakes that belongs to the whole installation."""

from django.conf import settings
from django.utils import timezone

from clients.models import Business
from restorer.api import forget_old_answers
from restorer.backup import start_backup


def back_up_nightly() -> str:
    """Each night: a backup into the folder, proven by a restore. The demo has nothing to lose."""
    if settings.MODE == "demo" or Business.current() is None:
        return "Nothing to back up."
    start_backup()
    return "A backup was begun."


def forget_answers_nightly() -> int:
    """Each night: what programs were answered more than a week ago."""
    return forget_old_answers(now=timezone.now())
