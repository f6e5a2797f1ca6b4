"""`manage.py reset_second_step NAME`: for the owner who lost telephone and recovery codes."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import CommandError
from django.utils import timezone

from clients.actions import second_steps
from clients.management.opening import BookCommand
from clients.models import User


class Command(BookCommand):
    help = "Take app, passkeys and recovery codes from somebody: the password alone signs in."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", help="their sign-in name")

    def handle(self, *args: Any, **options: Any) -> None:
        person = User.objects.filter(username=options["name"]).first()
        if person is None:
            raise CommandError(f"Nobody signs in as {options['name']}.")
        second_steps.reset_second_step(person=person, now=timezone.now())
        self.stdout.write(f"{person} signs in with the password alone.")
