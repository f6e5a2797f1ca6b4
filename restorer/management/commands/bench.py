"""`manage.py bench`; all of it lives with the tests, which a checkout has."""

from tests.bench.command import Command as Command
