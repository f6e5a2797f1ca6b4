"""The channels that machines can send by. To add one: a file with a line that keeps `contract.Line`, and an entry here."""

from collections.abc import Callable

from clients.channels import email
from clients.channels.contract import Line
from clients.models import Business
from clients.models.consent import Channel

LINES: dict[str, Callable[[Business], Line]] = {Channel.EMAIL: email.SmtpLine}
