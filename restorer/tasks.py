"""What the alarm clock wakes that belongs to the whole installation."""

from django.conf import settings
from django.utils import timezone

from clients.actions.upload_parts import forget_old_parts
from clients.models import Business
from jobs.weather_ahead import fetch_expected_weather
from restorer.api import forget_old_answers
from restorer.backup import BackupError, start_backup
from restorer.webhooks import announce_due_decks, forget_old_posts, post_webhooks


def back_up_nightly() -> str:
    """Each night: a backup into the folder, proven by a restore. The demo has nothing to lose."""
    if settings.MODE == "demo" or Business.current() is None:
        return "Nothing to back up."
    try:
        start_backup()
    except BackupError as mistake:
        return str(mistake)
    return "A backup was begun."


def forget_answers_nightly() -> int:
    """Each night: what programs were answered more than a week ago, and parts of files that never
    became whole."""
    now = timezone.now()
    forget_old_parts(now=now)
    return forget_old_answers(now=now)


def tell_programs() -> str:
    """Each minute: what other programs are to hear."""
    return f"{post_webhooks()} posts taken"


def fetch_weather() -> str:
    """Every ten minutes: what the owner's source expects the weather to be, where work is booked;
    each spot once an hour at most."""
    return f"{fetch_expected_weather(now=timezone.now())} places told"


def announce_due_nightly() -> int:
    """Each night, after the forecasts: decks that are due by now; old posts go."""
    now = timezone.now()
    forget_old_posts(now=now)
    return announce_due_decks(now=now)
