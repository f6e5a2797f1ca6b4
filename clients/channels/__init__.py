"""The channels that machines can send by. A new one is a class that keeps `contract.Line` in a file, and a line here"""

from collections.abc import Callable

from clients.channels import email, text
from clients.channels.contract import Line
from clients.models import Business
from clients.models.channel import Channel

LINES: dict[str, Callable[[Business], Line]] = {
    str(Channel.EMAIL): email.SmtpLine,
    str(Channel.TEXT): text.GatewayLine,
}
