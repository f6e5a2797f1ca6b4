"""The length of a text message: 3GPP TS 23.038 (alphabet) and TS 23.040 (parts)."""

import codecs

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clients.messaging.sms_parts import GSM_BASIC, GSM_EXTENSION, measure_sms
from clients.messaging.texts import substitute_typography


@pytest.mark.parametrize(
    ("text", "parts"),
    # 140 octets a part: 160 septets alone, 153 joined (TS 23.038 §4, 23.040 §9.2.3.24.1); an
    # extension character is two septets and is not cut; UCS-2: 70 and 67 units, a surrogate pair is
    # not cut
    [
        ("", 0),
        ("a" * 160, 1),
        ("a" * 161, 2),
        ("a" * 306, 2),
        ("a" * 307, 3),
        ("€" * 80, 1),
        ("€" * 81, 2),
        ("€" * 152, 2),
        ("€" * 153, 3),
        ("ā" * 70, 1),
        ("ā" * 71, 2),
        ("😀" * 35, 1),
        ("😀" * 36, 2),
        ("😀" * 67, 3),
    ],
)
def test_parts_are_counted_as_the_standard_has_them(text: str, parts: int) -> None:
    assert measure_sms(text).parts == parts


def test_the_alphabet_is_that_of_the_standard() -> None:
    """TS 23.038 §6.2.1: 128 codes, one of them ESC;
    the extension table has nine characters and form feed."""
    assert len(GSM_BASIC) == 127
    assert len(GSM_EXTENSION) == 10
    assert {"€", "[", "]", "{", "}", "\\", "^", "~", "|", "\f"} == GSM_EXTENSION
    assert not {"`", "ç", "ê", "ā", "–", "’", "…", "\u00a0"} & GSM_BASIC


@given(st.text(max_size=400))
def test_units_of_the_long_encoding_are_those_of_utf_16(text: str) -> None:
    size = measure_sms(text)
    if size.encoding == "UCS-2":
        assert size.units == len(codecs.encode(text, "utf-16-be")) // 2
        assert size.forced_by
    assert size.parts * (153 if size.encoding == "GSM" else 67) >= size.units or size.parts <= 1
    assert 0 <= size.remaining <= 160


def test_what_forces_the_long_encoding_is_named() -> None:
    size = measure_sms("Kia ora Māori – 😀")
    assert size.encoding == "UCS-2"
    assert size.forced_by == ("ā", "–", "😀")


def test_typographic_characters_become_plain_and_letters_stay() -> None:
    assert substitute_typography("“Deck” – we’ll…\u00a0Tāmaki") == '"Deck" - we\'ll... Tāmaki'
    assert measure_sms(substitute_typography("“Deck” – we’ll…")).encoding == "GSM"
