"""`manage.py ordeal`; all of it lives with the tests, which a checkout has."""

from tests.ordeal.command import Command as Command
