"""`manage.py lock`: make the lock files again from pyproject.toml, with hashes and without
addresses."""

import subprocess
import sys
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

LOCK_GROUPS = {
    "server.lock": [],
    "run.lock": ["--group", "local"],
    "dev.lock": ["--group", "local", "--group", "dev"],
}
OPTIONS = [
    "--universal",
    "--python-version",
    "3.11",
    "--generate-hashes",
    "--no-annotate",
    "--no-header",
]


class Command(BaseCommand):
    help = "Make the lock files again from pyproject.toml (for maintainers)."
    requires_system_checks: list[str] = []

    def handle(self, *args: Any, **options: Any) -> None:
        for name, groups in LOCK_GROUPS.items():
            target = f"restorer/requirements/{name}"
            command = [
                sys.executable,
                "-m",
                "uv",
                "pip",
                "compile",
                "pyproject.toml",
                *groups,
                *OPTIONS,
            ]
            command += ["--no-emit-index-url", "--no-emit-find-links", "--quiet", "-o", target]
            if subprocess.run(command, cwd=settings.BASE_DIR, check=False).returncode:
                raise CommandError(f"{target} could not be made; what uv says is above.")
            self.stdout.write(f"{target} is current")
