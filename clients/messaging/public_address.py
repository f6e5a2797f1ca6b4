"""Whether the address of this program can be opened by a client."""

import ipaddress
from urllib.parse import urlsplit

from django.conf import settings

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


def leads_nowhere() -> bool:
    """Whether links of this program are worth nothing to a client; in the demo, which has no
    clients, they are shown as they would be."""
    return settings.BLOCK_UNREADY and bool(why_not_public(settings.BASE_URL))


def is_local_host(host: str) -> bool:
    try:
        return not ipaddress.ip_address(host).is_global
    except ValueError:
        return "." not in host or host.endswith(LOCAL_ENDINGS)
