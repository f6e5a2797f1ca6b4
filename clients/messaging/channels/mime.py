"""An e-mail as bytes: the headers that a reminder owes its reader, and its text plain and as HTML.

RFC 5322 (format), 2045–2047 (MIME), 2369 and 8058 (unsubscribing), 3834 (by a machine), 6532
(letters beyond ASCII). Written out here rather than by `email.message`, which takes longer than
handing the message over.
"""

import base64
import binascii
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from email.header import Header
from email.utils import encode_rfc2231, format_datetime, formataddr

from clients.messaging import message_keys
from clients.messaging.models import Attachment, Message
from clients.messaging.suppression import ascii_domain
from clients.models import Business

MAX_LINE_LENGTH = 998  # RFC 5322, 2.1.1
FOLD_POINTS = re.compile(r"(.{40,66}) (?=[^ ])")  # RFC 5322, 2.2.3: at a space, which stays
UNPRINTABLE = re.compile(r"[\x00-\x1f\x7f\u0085\u2028\u2029]+")
LEADING_DOT = re.compile(rb"^\.", re.MULTILINE)


@dataclass(frozen=True)
class SenderIdentity:
    """What all messages of a business have in common."""

    business: Business
    sender: str
    reply_to: str

    @classmethod
    def for_business(cls, business: Business) -> "SenderIdentity":
        name = header_value(business.name, "From", always=True)
        sender = f"{name} <{ascii_domain_address(business.sender)}>"
        return cls(business, sender, ascii_domain_address(business.email or business.sender))


def ascii_domain_address(address: str) -> str:
    """The address with its domain in ASCII; the local part stays as it is."""
    local, _, domain = address.rpartition("@")
    return f"{local}@{ascii_domain(domain)}"


def needs_utf8(address: str) -> bool:
    """RFC 6531: a local part beyond ASCII goes only through servers that offer SMTPUTF8."""
    return not address.rpartition("@")[0].isascii()


def header_value(text: str, name: str, *, always: bool = False) -> str:
    """A value that cannot start another header: no line ends, RFC 2047 where it is not ASCII."""
    clean = UNPRINTABLE.sub(" ", text).strip()
    if always:  # a phrase before an address: quoted or encoded
        return (
            formataddr((clean, "x@x")).removesuffix(" <x@x>")
            if clean.isascii()
            else encode_header(clean, name)
        )
    return FOLD_POINTS.sub("\\1\r\n ", clean) if clean.isascii() else encode_header(clean, name)


def encode_header(text: str, name: str) -> str:
    return Header(text, "utf-8", maxlinelen=76, header_name=name).encode(linesep="\r\n")


def compose_email(head: SenderIdentity, message: Message, *, now: datetime) -> bytes:
    """The message as it goes over the wire (lines that begin with a dot are not yet doubled)."""
    top = "\r\n".join([*message_headers(head, message, now), ""]).encode()
    files = attachments_of(message)
    if not files:
        return top + body_part(message)
    return top + multipart(
        "mixed", mime_boundary(message, "m"), [body_part(message), *map(attachment_part, files)]
    )


def attachments_of(message: Message) -> list[Attachment]:
    """What is attached. A claimed message says whether there is anything, and has it at hand
    (outbox/steps.py)."""
    return list(message.attachments.all()) if getattr(message, "has_files", True) else []


def body_part(message: Message) -> bytes:
    """The text, and its HTML beside it if there is any."""
    plain = text_part("plain", message.text)
    if not message.html:
        return plain
    return multipart(
        "alternative", mime_boundary(message), [plain, text_part("html", message.html)]
    )


def mime_boundary(message: Message, which: str = "") -> str:
    """What parts one piece from the next; no mark begins like another (RFC 2046, 5.1.1)."""
    return f"={which}_{message.message_id.strip('<>').partition('@')[0]}"


def multipart(subtype: str, mark: str, pieces: Sequence[bytes]) -> bytes:
    head = f'Content-Type: multipart/{subtype}; boundary="{mark}"\r\n\r\n'.encode()
    between = f"--{mark}\r\n".encode()
    return head + b"".join(between + piece for piece in pieces) + f"--{mark}--\r\n".encode()


def attachment_part(file: Attachment) -> bytes:
    """A file with its name (RFC 2183; RFC 2231 for letters beyond ASCII), in base64."""
    if file.name.isascii():
        plain = file.name.replace("\\", "\\\\").replace('"', '\\"')
        name = f'filename="{plain}"'
    else:
        name = f"filename*={encode_rfc2231(file.name, 'utf-8')}"
    head = (
        f"Content-Type: {file.media_type}\r\nContent-Transfer-Encoding: base64\r\n"
        f"Content-Disposition: attachment;\r\n {name}\r\n\r\n"
    )
    return head.encode() + base64.encodebytes(bytes(file.content)).replace(b"\n", b"\r\n")


def message_headers(head: SenderIdentity, message: Message, now: datetime) -> list[str]:
    return [
        f"From: {head.sender}",
        f"To: {ascii_domain_address(message.address)}",
        f"Subject: {header_value(message.subject, 'Subject')}",
        f"Date: {format_datetime(now.astimezone(head.business.zone))}",
        f"Message-ID: {message.message_id}",
        f"Reply-To: {head.reply_to}",
        "Auto-Submitted: auto-generated",
        *unsubscribe_headers(message_keys.unsubscribe_link(head.business, message)),
        "MIME-Version: 1.0",
    ]


def unsubscribe_headers(link: str) -> list[str]:
    """One click only where the link is HTTPS, as RFC 8058 (3.1) demands."""
    if not link:
        return []
    one_click = (
        ["List-Unsubscribe-Post: List-Unsubscribe=One-Click"] if link.startswith("https://") else []
    )
    return [f"List-Unsubscribe: <{link}>", *one_click]


def text_part(subtype: str, text: str) -> bytes:
    """One body with its own headers, in seven bits, so that any server takes it unchanged."""
    content = text.replace("\r\n", "\n").replace("\r", "\n").rstrip("\n").encode() + b"\n"
    way = "7bit"
    if not content.isascii() or max(map(len, content.split(b"\n"))) > MAX_LINE_LENGTH:
        way = "quoted-printable"
        content = binascii.b2a_qp(content)
    charset = "us-ascii" if way == "7bit" else "utf-8"
    head = (
        f'Content-Type: text/{subtype}; charset="{charset}"\r\nContent-Transfer-Encoding:'
        f" {way}\r\n\r\n"
    )
    return head.encode() + content.replace(b"\n", b"\r\n")


def dot_stuff(content: bytes) -> bytes:
    """As it follows the 354 reply: leading dots doubled, closed by the final dot (RFC 5321,
    4.5.2)."""
    has_any = (
        content.startswith(b".") or b"\n." in content
    )  # looked for first: to find none takes a regex long
    return (LEADING_DOT.sub(b"..", content) if has_any else content) + b".\r\n"
