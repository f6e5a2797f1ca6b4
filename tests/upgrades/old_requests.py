"""Run in a checkout of the release before: asks it for pages and saves forms, by two people at a
time, until a file appears; then writes what was answered. Arguments: that file, the answers."""

import json
import sys
import threading
from pathlib import Path
from typing import Any

import django

django.setup()

from django.conf import settings  # noqa: E402
from django.db import transaction  # noqa: E402
from django.test import Client as Browser  # noqa: E402
from django.utils import timezone  # noqa: E402

from clients.models import Client, Deck, User  # noqa: E402
from jobs.models import CoatApplied, Job, Product  # noqa: E402
from reminders.actions import refresh_forecasts  # noqa: E402

CLIENT_FORM = {"salutation": "", "language": "en", "preferred_channel": "", "notes": "seen"}
CONSENT_FORM = {
    "channel": "email",
    "is_given": "True",
    "basis": "express",
    "wording": "Yes",
    "evidence": "form",
}
stop, result = map(Path, sys.argv[1:])
answers: list[tuple[str, int]] = []


def ask_until_stopped(pk: int, user: User) -> None:
    browser = Browser(raise_request_exception=False)
    browser.force_login(user)
    while not stop.exists():
        pk += 2
        pages = ["/", "/due/", f"/decks/{pk}/", "/decks/?q=otti", f"/clients/{pk}/", "/outbox/"]
        for address in pages:
            answers.append((address, browser.get(address, follow=True).status_code))
        edited = browser.post(
            f"/clients/{pk}/edit/", CLIENT_FORM | {"name": f"Bench {pk}"}, follow=True
        )
        agreed = browser.post(f"/clients/{pk}/consent/", CONSENT_FORM, follow=True)
        answers.append(("edit", edited.status_code))
        answers.append(("consent", agreed.status_code))
        answers.append(("coat", log_coat(pk)))


def log_coat(pk: int) -> int:
    """What saving a job writes: the job, what went on, and when its deck is due. As a status."""
    now = timezone.now()
    deck = Deck.objects.order_by("pk")[pk % 50]
    product = Product.objects.filter(kind="finish").order_by("pk")[0]
    try:
        with transaction.atomic():
            job = Job.objects.create(
                deck=deck, kind="recoat", finished_on=now.date(), currency="CAD", created_at=now
            )
            old: Any = CoatApplied.objects  # `surface` is a field of the release before
            old.create(job=job, product=product, surface="all")
            refresh_forecasts(deck_ids=[deck.pk], today=now.date(), now=now)
    except Exception as error:  # whatever it is, it is an answer of the release before
        sys.stderr.write(f"{error}\n")
        return 500
    return 200


settings.ALLOWED_HOSTS = ["*"]
someone, _ = User.objects.get_or_create(username="bench", defaults={"role": User.Role.OWNER})
first = Client.objects.order_by("pk").values_list("pk", flat=True)[0]
people = [
    threading.Thread(target=ask_until_stopped, args=(first + place, someone)) for place in (0, 1)
]
for person in people:
    person.start()
for person in people:
    person.join()
result.write_text(json.dumps(answers))
