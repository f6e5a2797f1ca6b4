"""How long a text message is: its encoding and the parts it is sent in.

3GPP TS 23.038 §6.2.1 (default alphabet and its extension table) and TS 23.040 §9.2.3.24.1 (joined messages with an
8-bit reference): 140 octets a part; 160 septets alone or 153 joined, 70 UTF-16 units alone or 67 joined.
"""

from dataclasses import dataclass

BASIC = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
EXTENSION = frozenset("\f^{}\\[~]|€")  # two septets each: ESC and the character
GSM, UCS2 = "GSM", "UCS-2"
ALONE = {GSM: 160, UCS2: 70}
JOINED = {GSM: 153, UCS2: 67}
PLAIN = {
    "‘": "'", "’": "'", "‚": "'", "“": '"', "”": '"', "„": '"', "«": '"', "»": '"', "–": "-", "—": "-", "‑": "-",
    "−": "-", "…": "...", "\u00a0": " ", "\u202f": " ", "\u2009": " ", "•": "-", "·": "-", "²": "2", "³": "3", "`": "'",
    "\t": " ",
}  # fmt: skip


@dataclass(frozen=True)
class Size:
    """Encoding, units in it (septets or UTF-16 units), parts, and the characters that forced the longer encoding."""

    encoding: str
    units: int
    parts: int
    left: int
    forced_by: tuple[str, ...] = ()


def plain(text: str) -> str:
    """Typographic characters in the plain form that the alphabet has; letters stay as they are."""
    return "".join(PLAIN.get(character, character) for character in text)


def cost(character: str, encoding: str) -> int:
    """Units that one character takes."""
    if encoding == GSM:
        return 2 if character in EXTENSION else 1
    return 2 if ord(character) > 0xFFFF else 1


def measure(text: str) -> Size:
    """How the text goes out as it is. No pair (ESC and its character, a surrogate pair) is cut between two parts."""
    outside = dict.fromkeys(character for character in text if character not in BASIC and character not in EXTENSION)
    encoding = UCS2 if outside else GSM
    costs = [cost(character, encoding) for character in text]
    units = sum(costs)
    if units <= ALONE[encoding]:
        return Size(encoding, units, 1 if text else 0, ALONE[encoding] - units, tuple(outside))
    parts, room = 0, 0
    for each in costs:
        if each > room:
            parts, room = parts + 1, JOINED[encoding]
        room -= each
    return Size(encoding, units, parts, room, tuple(outside))
