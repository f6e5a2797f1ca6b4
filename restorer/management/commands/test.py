"""`manage.py test`: the whole test suite by pytest; every option passes through."""

import os
import subprocess
import sys
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand

# pytest has settings of its own; and it rewrites tests and plugins, which costs each worker five
# seconds unless kept
UNSET = {"DJANGO_SETTINGS_MODULE", "PYTHONDONTWRITEBYTECODE"}


class Command(BaseCommand):
    help = "Run the tests (pytest); what follows is handed to pytest: manage.py test -k outbox -x"
    requires_system_checks: list[str] = []

    def run_from_argv(self, argv: list[str]) -> None:
        """Everything after the command's name is pytest's own."""
        arguments = argv[2:]
        if not any(word.startswith("-n") for word in arguments):
            arguments = ["-n", "2", "--dist", "worksteal", *arguments]
        environment = {name: value for name, value in os.environ.items() if name not in UNSET}
        environment.setdefault("OPENBLAS_NUM_THREADS", "1")  # workers share the cores as it is
        command = [sys.executable, "-m", "pytest", *arguments]
        sys.exit(
            subprocess.run(command, cwd=settings.BASE_DIR, env=environment, check=False).returncode
        )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("options", nargs="*")

    def handle(self, *args: Any, **options: Any) -> None:
        raise NotImplementedError("run_from_argv answers this command")
