"""Whether the address of this program can be opened by a client."""

import ipaddress
from urllib.parse import urlsplit

from django.conf import settings

from clients.models import traits_of

LOCAL_ENDINGS = (".localhost", ".local", ".internal", ".lan", ".home.arpa")


def why_not_public(url: str) -> str:
    """Why a client cannot open links that begin so; empty if they can."""
    try:
        host = urlsplit(url).hostname or ""
    except ValueError:
        host = ""
    if not host:
        return f"“{url}” is no address."
    if is_local_host(host):
        return f"Links in messages would begin with {url}, which no client can open."
    return ""


def is_useless_on_paper(channel: str) -> bool:
    """Whether a message by this channel had better name no address of this program: printed, and no
    client could open it. (A mail would not leave then.) The demo, which has no clients, shows them
    as they would be."""
    is_kept_back = settings.BLOCK_UNREADY and bool(channel) and traits_of(channel).is_by_post
    return is_kept_back and bool(why_not_public(settings.BASE_URL))


def is_local_host(host: str) -> bool:
    try:
        return not ipaddress.ip_address(host).is_global
    except ValueError:
        return "." not in host or host.endswith(LOCAL_ENDINGS)
