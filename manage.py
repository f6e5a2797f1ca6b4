#!/usr/bin/env python3
"""Django's command line, with a guard that first makes the environment it needs."""

import os
import sys

from restorer import bootstrap


def main() -> None:
    bootstrap.prepare_environment(sys.argv)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "restorer.settings")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
