"""One request to the owner's weather service: bounded in time and size, to public addresses only,
its redirects looked at like the address itself."""

import ssl
import time
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from email.utils import parsedate_to_datetime
from urllib.parse import urljoin

import httpcore
from django.conf import settings

from clients.models import Business
from clients.outward import OutwardBackend, has_safe_scheme
from jobs.models import WeatherPosition
from jobs.weather_ahead.spells import ForecastError

CONNECT_SECONDS = 5.0
READ_SECONDS = 10.0
ANSWER_SECONDS = 20.0  # all of one request, its redirects too
MAX_ANSWER_BYTES = 1_000_000  # a compact answer of ten days has some 50 kB
MAX_REDIRECTS = 2
REDIRECTS = {301, 302, 303, 307, 308}
NOT_MODIFIED = 304
DEPRECATED = 203  # in the words of MET Norway's terms: still answered, soon no more
REFUSALS = {
    401: "It does not let us in.",
    403: "It does not let us in.",
    404: "There is nothing at this address.",
    429: "We ask it too often.",
}


@dataclass(frozen=True)
class SourceAnswer:
    """What came back; without content nothing has changed there."""

    content: bytes | None
    last_modified: str
    expires_at: datetime | None
    is_deprecated: bool = False


@dataclass(frozen=True)
class RawAnswer:
    """Status, heads in small letters, and the body as it was sent."""

    status: int
    heads: Mapping[str, str]
    body: bytes


def address_of_position(source: str, position: WeatherPosition) -> str:
    """Two decimals; the service's terms allow four."""
    latitude, longitude = position
    return source.replace("{lat}", f"{latitude:.2f}").replace("{lon}", f"{longitude:.2f}")


def who_asks(business: Business) -> str:
    """The terms want a name and where to reach who asks; never a client's word."""
    contact = business.website or business.email or settings.BASE_URL
    return f"deck-care {contact}".encode("ascii", "ignore").decode()


def ask_source(url: str, *, agent: str, last_modified: str) -> SourceAnswer:
    """Raises `ForecastError` with the reason, whatever went wrong."""
    heads = {"User-Agent": agent, "Accept": "application/json", "Accept-Encoding": "gzip"}
    if last_modified:
        heads["If-Modified-Since"] = last_modified
    ends = time.monotonic() + ANSWER_SECONDS
    try:
        for _ in range(MAX_REDIRECTS + 1):
            if not has_safe_scheme(url):
                raise ForecastError("The address does not begin with https://.")
            answer = send_get(url, heads, ends)
            if answer.status not in REDIRECTS:
                return read_answer(answer)
            url = urljoin(url, answer.heads.get("location", ""))
    except (httpcore.NetworkError, httpcore.TimeoutException, httpcore.ProtocolError) as error:
        raise ForecastError(f"It cannot be reached. {error or type(error).__name__}") from error
    except (OSError, ValueError, httpcore.UnsupportedProtocol, zlib.error) as error:
        raise ForecastError(str(error) or type(error).__name__) from error
    raise ForecastError("It sends us on and on. Enter the address itself.")


def send_get(url: str, heads: Mapping[str, str], ends: float) -> RawAnswer:
    wait = {"connect": CONNECT_SECONDS, "read": READ_SECONDS, "write": READ_SECONDS}
    backend = OutwardBackend(settings.WEBHOOK_NETWORKS)
    context = ssl.create_default_context()
    with (
        httpcore.ConnectionPool(ssl_context=context, network_backend=backend) as pool,
        pool.stream(
            "GET", url, headers=list(heads.items()), extensions={"timeout": wait}
        ) as answer,
    ):
        found = {
            name.decode("latin-1").lower(): value.decode("latin-1")
            for name, value in answer.headers
        }
        return RawAnswer(answer.status, found, read_body(answer.iter_stream(), ends))


def read_body(chunks: Iterable[bytes], ends: float) -> bytes:
    """Raises `ForecastError` where it is too long, in bytes or in time."""
    found = bytearray()
    for chunk in chunks:
        found += chunk
        if len(found) > MAX_ANSWER_BYTES:
            raise ForecastError("Its answer is longer than a forecast can be.")
        if time.monotonic() > ends:
            raise ForecastError("Its answer takes too long.")
    return bytes(found)


def read_answer(answer: RawAnswer) -> SourceAnswer:
    if answer.status not in {200, DEPRECATED, NOT_MODIFIED}:
        why = REFUSALS.get(answer.status, "It has no forecast for us.")
        raise ForecastError(f"{why} ({answer.status})")
    return SourceAnswer(
        None if answer.status == NOT_MODIFIED else without_gzip(answer),
        answer.heads.get("last-modified", "")[:100],
        moment_of(answer.heads.get("expires", "")),
        answer.status == DEPRECATED,
    )


def without_gzip(answer: RawAnswer) -> bytes:
    """The body, taken out of gzip where it came in it, no further than the limit."""
    packing = answer.heads.get("content-encoding", "identity").lower()
    if packing == "identity":
        return answer.body
    if packing != "gzip":
        raise ForecastError(f"Its answer is packed as {packing[:20]}, which we did not ask for.")
    unpacker = zlib.decompressobj(wbits=16 + zlib.MAX_WBITS)
    found = unpacker.decompress(answer.body, MAX_ANSWER_BYTES)
    if not unpacker.eof:
        raise ForecastError("Its answer is cut short, or longer than a forecast can be.")
    return found


def moment_of(head: str) -> datetime | None:
    """A date of HTTP (RFC 9110, 5.6.7); None where it is none or has no zone."""
    try:
        found = parsedate_to_datetime(head)
    except (ValueError, TypeError):
        return None
    return found if found.tzinfo else None
