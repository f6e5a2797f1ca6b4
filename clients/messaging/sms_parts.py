"""How long a text message is: its encoding and the parts it is sent in.

3GPP TS 23.038 §6.2.1 (default alphabet and its extension table) and TS 23.040 §9.2.3.24.1 (joined
messages with an 8-bit reference): 140 octets a part; 160 septets alone or 153 joined, 70 UTF-16
units alone or 67 joined.
"""

from dataclasses import dataclass

GSM_BASIC = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
GSM_EXTENSION = frozenset("\f^{}\\[~]|€")  # two septets each: ESC and the character
GSM = "GSM"
UCS2 = "UCS-2"
SINGLE_PART_UNITS = {GSM: 160, UCS2: 70}
JOINED_PART_UNITS = {GSM: 153, UCS2: 67}


@dataclass(frozen=True)
class SmsSize:
    """Encoding, units in it (septets or UTF-16 units), parts, and the characters that forced the
    longer encoding."""

    encoding: str
    units: int
    parts: int
    remaining: int
    forced_by: tuple[str, ...] = ()


def character_units(character: str, encoding: str) -> int:
    """Units that one character takes."""
    if encoding == GSM:
        return 2 if character in GSM_EXTENSION else 1
    return 2 if ord(character) > 0xFFFF else 1


def measure_sms(text: str) -> SmsSize:
    """How the text goes out as it is. No pair (ESC and its character, a surrogate pair) is cut
    between two parts."""
    outside = dict.fromkeys(
        character
        for character in text
        if character not in GSM_BASIC and character not in GSM_EXTENSION
    )
    encoding = UCS2 if outside else GSM
    costs = [character_units(character, encoding) for character in text]
    units = sum(costs)
    if units <= SINGLE_PART_UNITS[encoding]:
        return SmsSize(
            encoding, units, 1 if text else 0, SINGLE_PART_UNITS[encoding] - units, tuple(outside)
        )
    parts = 0
    room = 0
    for each in costs:
        if each > room:
            parts = parts + 1
            room = JOINED_PART_UNITS[encoding]
        room -= each
    return SmsSize(encoding, units, parts, room, tuple(outside))
