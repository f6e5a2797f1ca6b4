"""Which machines the program may connect to because a setting names them: asked right before the
connection. `OutwardBackend` connects to the very address that was looked at, so that a name cannot
lead elsewhere in between.

Never: link-local addresses and those under which clouds tell their secrets to whoever asks. Of the
machine and the network itself (loopback, private) only for what an owner may run there, such as a
mail server or a box for text messages.
"""

import ipaddress
import socket
from collections.abc import Iterable, Sequence
from typing import Any
from urllib.parse import urlsplit

import httpcore
from django.conf import settings

IpAddress = ipaddress.IPv4Address | ipaddress.IPv6Address
# of clouds, outside link-local; from memory
METADATA_ADDRESSES = {
    ipaddress.ip_address(text) for text in ("100.100.100.200", "192.0.0.192", "fd00:ec2::254")
}
NAT64 = ipaddress.ip_network("64:ff9b::/96")  # RFC 6052, 2.1


class ForbiddenAddressError(OSError):
    """An address that no setting may lead to; the message says which."""


def has_safe_scheme(url: str) -> bool:
    """https; any where the owner's own networks are named (WEBHOOK_NETWORKS)."""
    return urlsplit(url).scheme == "https" or bool(settings.WEBHOOK_NETWORKS)


def mistake_of_outward_url(url: str) -> str:
    """Why an address that is typed into a setting cannot be asked; empty if it can."""
    if not has_safe_scheme(url):
        return "Write an address that begins with https://."
    parts = urlsplit(url)
    if parts.username or parts.password or parts.fragment:
        return "Leave out the name, the password and the # part."
    return ""


def plain_address(address: IpAddress) -> IpAddress:
    """An IPv4 address that is written as IPv6 is what it stands for (RFC 4291, 2.5.5.2; RFC 3056;
    RFC 6052)."""
    if isinstance(address, ipaddress.IPv4Address):
        return address
    if address in NAT64:
        return ipaddress.IPv4Address(int(address) & 0xFFFF_FFFF)
    return address.ipv4_mapped or address.sixtofour or address


def is_allowed(address: IpAddress, *, may_be_own: bool, networks: Iterable[str] = ()) -> bool:
    """`may_be_own`: also of this machine and its network; `networks` are allowed beside the
    public ones."""
    address = plain_address(address)
    never = address.is_link_local or address.is_multicast or address.is_unspecified
    if never or address in METADATA_ADDRESSES:
        return False
    if any(address in ipaddress.ip_network(network) for network in networks):
        return True
    if may_be_own and (address.is_private or address.is_loopback):
        return True
    return address.is_global and not address.is_reserved


def outward_addresses(
    host: str, port: int, *, may_be_own: bool = False, networks: Iterable[str] = ()
) -> list[str]:
    """What a name stands for now. One forbidden address among them forbids the name.
    Raises `ForbiddenAddressError`, or OSError where there is no such name."""
    allowed = list(networks)
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except UnicodeError as error:
        raise OSError(f"{host[:80]} is no name of a machine.") from error
    texts = list(dict.fromkeys(str(each[4][0]) for each in found))
    for text in texts:
        address = ipaddress.ip_address(text.partition("%")[0])
        if "%" in text or not is_allowed(address, may_be_own=may_be_own, networks=allowed):
            raise ForbiddenAddressError(
                f"{host} leads to {text}, which no setting may reach. Enter another address."
            )
    return texts


class OutwardBackend(httpcore.NetworkBackend):
    """Connects to the very addresses that were looked at."""

    def __init__(self, networks: Sequence[str] = ()) -> None:
        self.networks = networks
        self.plain = httpcore.SyncBackend()

    def connect_tcp(
        self,
        host: str,
        port: int,
        timeout: float | None = None,
        local_address: str | None = None,
        socket_options: Iterable[Any] | None = None,
    ) -> httpcore.NetworkStream:
        try:
            found = outward_addresses(host, port, networks=self.networks)
        except OSError as error:
            raise httpcore.ConnectError(str(error)) from error
        for address in found[:-1]:
            try:
                return self.plain.connect_tcp(address, port, timeout=timeout)
            except (httpcore.ConnectError, httpcore.ConnectTimeout):
                continue
        return self.plain.connect_tcp(found[-1], port, timeout=timeout)
