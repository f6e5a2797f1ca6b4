"""What a text message gateway is told and what its answers mean, read from the row that describes
it. No sockets here.

Paths are dotted: `messages.0.id` is the id of the first of the messages. Codes and states are
compared as text.
"""

import json
from collections.abc import Mapping
from typing import Any
from urllib.parse import parse_qsl, quote, urlencode

from clients.messaging.channels.transport import SendOutcome, SendResult
from clients.messaging.models import Message, TextGateway

MAX_HTTP_REPLY_LENGTH = 300
NO_ERROR_CODES = {
    "",
    "0",
    "None",
    "null",
    "False",
    "false",
    "ok",
    "OK",
}  # an error code that means none
FOR_GOOD = "for_good"
FOR_NOW = "for_now"
OPTED_OUT = "opted_out"
ACCOUNT_STATUSES = {401, 402, 407}  # RFC 9110, 15.5: our key or our account, not the message
RETRY_STATUSES = {
    408,
    425,
    429,
    503,
}  # RFC 9110, 15.5.9 and 15.6.4; RFC 8470, 5.2; RFC 6585, 4: not processed
REDIRECT_STATUSES = {
    300,
    301,
    302,
    305,
    307,
    308,
}  # asked to go elsewhere, which we do not: nothing was processed
# RFC 9110, 15.5.10: it may know the reference; only a look-up or a person can tell
CONFLICT_STATUS = 409


def message_reference(message: Message) -> str:
    """Ours for one sending: the left part of the Message-ID, so a deliberate re-send gets
    another."""
    return message.message_id.strip("<>").rpartition("@")[0]


def request_body(gateway: TextGateway, values: Mapping[str, str]) -> tuple[bytes, str]:
    """The body to post, and its media type."""
    content = fill_template(gateway.template, values)
    if gateway.body == TextGateway.Body.FORM:
        return urlencode(content).encode(), "application/x-www-form-urlencoded; charset=utf-8"
    return json.dumps(content, ensure_ascii=False).encode(), "application/json; charset=utf-8"


def fill_template(template: Any, values: Mapping[str, str]) -> Any:
    """{to}, {from}, {text} and {reference} replaced literally, however deep they stand."""
    if isinstance(template, dict):
        return {name: fill_template(value, values) for name, value in template.items()}
    if isinstance(template, list):
        return [fill_template(value, values) for value in template]
    if not isinstance(template, str):
        return template
    named = {f"{{{name}}}": value for name, value in values.items()}
    if template in named:
        return named[template]
    for name in (
        "reference",
        "from",
        "to",
        "text",
    ):  # what a client wrote comes last: no field is looked for in it
        template = template.replace(f"{{{name}}}", values.get(name, ""))
    return template


def parse_body(content: bytes, media_type: str = "") -> Any:
    """JSON, else form fields, else nothing."""
    text = content.decode(errors="replace")
    if "form-urlencoded" in media_type:
        return dict(parse_qsl(text, keep_blank_values=True))
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        return dict(parse_qsl(text)) if "=" in text and "\n" not in text else None


def value_at_path(content: Any, path: str) -> str:
    """What stands at a dotted path, as text; empty if nothing does."""
    for step in path.split("."):
        if isinstance(content, dict):
            content = content.get(step)
        elif isinstance(content, list) and step.isdigit() and int(step) < len(content):
            content = content[int(step)]
        else:
            return ""
    return "" if content is None or isinstance(content, dict | list) else str(content)


def answer_outcome(
    gateway: TextGateway, status: int, content: bytes, media_type: str = ""
) -> SendOutcome:
    """What an HTTP answer to a message says about it;
    see docs/server.md, "The text message gateway"."""
    answer = parse_body(content, media_type)
    code = value_at_path(answer, gateway.refusal_path) if gateway.refusal_path else ""
    reply = http_reply_text(status, content)
    known = gateway.refusals.get(code) or gateway.refusals.get(str(status))
    if known:
        return refusal_outcome(known, reply)
    if 200 <= status < 300:
        if code not in NO_ERROR_CODES:  # "200, but": an error that nobody has told us about
            return SendOutcome(SendResult.UNKNOWN, reply)
        return SendOutcome(SendResult.ACCEPTED, reply, value_at_path(answer, gateway.id_path)[:200])
    return SendOutcome(result_by_status(status), reply)


def result_by_status(status: int) -> SendResult:
    if status in ACCOUNT_STATUSES | RETRY_STATUSES | REDIRECT_STATUSES:
        return SendResult.NOT_NOW
    return (
        SendResult.REFUSED
        if 400 <= status < 500 and status != CONFLICT_STATUS
        else SendResult.UNKNOWN
    )


def refusal_outcome(meaning: str, reply: str) -> SendOutcome:
    if meaning == FOR_NOW:
        return SendOutcome(SendResult.NOT_NOW, reply)
    return SendOutcome(SendResult.REFUSED, reply, has_opted_out=meaning == OPTED_OUT)


def look_up_address(gateway: TextGateway, message: Message) -> str:
    """Where the gateway says what became of a message; empty if it does not."""
    return gateway.look_up_url.replace("{reference}", quote(message_reference(message), safe=""))


def reported_state(gateway: TextGateway, content: Any) -> str:
    """delivered, failed, accepted or none;
    empty if the report says something that nobody has told us about."""
    return str(gateway.statuses.get(value_at_path(content, gateway.status_path), ""))


def http_reply_text(status: int, content: bytes) -> str:
    """An answer on one line, as far as the outbox keeps it."""
    text = "".join(each if each.isprintable() else " " for each in content.decode(errors="replace"))
    return " ".join(f"{status} {text}".split())[:MAX_HTTP_REPLY_LENGTH]
