"""A report or an answer as the gateway posts it, read by the paths that its row names;
and whether it is genuine."""

import base64
import hashlib
import hmac
from collections.abc import Mapping
from dataclasses import dataclass

from clients.messaging.channels import gateway_protocol
from clients.messaging.models import TextGateway
from clients.messaging.models.gateway import plain_hook_fields
from clients.notation import storable_text

MAX_POST_BYTES = 65_536  # bytes


@dataclass(frozen=True)
class GatewayReport:
    """What a gateway told us; empty where it said nothing."""

    gateway: TextGateway
    event_id: str
    has_own_id: bool
    reference: str
    provider_id: str
    status: str
    error: str
    sender: str
    text: str


def read_gateway_report(
    gateway: TextGateway, content: bytes, media_type: str
) -> GatewayReport | None:
    """None if it is neither JSON nor form fields."""
    posted = gateway_protocol.parse_body(content, media_type)
    if not isinstance(posted, dict | list) or not posted:
        return None
    paths = plain_hook_fields() | gateway.hook_fields
    found = {
        name: storable_text(gateway_protocol.value_at_path(posted, path))
        for name, path in paths.items()
    }
    own_id = found["event_id"][:200]
    return GatewayReport(
        gateway=gateway,
        event_id=own_id or f"sha256:{hashlib.sha256(content).hexdigest()}",
        has_own_id=bool(own_id),
        reference=found["reference"],
        provider_id=found["id"],
        status=found["status"],
        error=found["error"],
        sender=found["from"],
        text=found["text"],
    )


def read_kept_report(raw: str) -> GatewayReport | None:
    """None if there is no gateway any more, or nobody can read it."""
    gateway = TextGateway.objects.filter(id=1).first()
    return read_gateway_report(gateway, raw.encode(), "") if gateway else None


def is_signed(gateway: TextGateway, content: bytes, headers: Mapping[str, str]) -> bool:
    """HMAC-SHA256 of the body (RFC 2104), in hex or base64, with or without a name before "=";
    True without a key."""
    if not gateway.hook_key:
        return True
    digest = hmac.digest(gateway.hook_key.encode(), content, "sha256")
    given = headers.get(gateway.hook_header, "").strip().removeprefix("sha256=").encode()
    right = [digest.hex().encode(), base64.b64encode(digest), base64.urlsafe_b64encode(digest)]
    return (
        sum(hmac.compare_digest(given, each) for each in right) > 0
    )  # all are compared, whichever fits
