"""The code to scan on an offer: worked examples of ISO/IEC 18004 (from memory), and what another
program could read."""

import hashlib

import numpy as np
import pytest

from jobs import qr

LINK = "https://decks.example.com/o/0123456789abcdefghijklmnopqrstuv/"
LONGEST = f"https://decks.example.com/o/{'z' * 149}/"


def test_corrections_are_those_of_the_example_in_annex_i() -> None:
    data = [
        0x10,
        0x20,
        0x0C,
        0x56,
        0x61,
        0x80,
        *[0xEC, 0x11] * 5,
    ]  # “01234567” in version 1, level M

    assert bytes(qr.corrections(data, 10)).hex() == "a524d4c1ed36c7872c55"


def test_format_and_version_carry_the_bits_of_annexes_c_and_d() -> None:
    assert (
        f"{qr.checked_bits(0b00101, 0x537, 15) ^ 0x5412:015b}" == "100000011001110"
    )  # level M, mask 101
    assert f"{qr.checked_bits(7, 0x1F25, 18):018b}" == "000111110010010100"


@pytest.mark.parametrize(
    ("text", "size", "digest"),
    [
        # These very modules were read back as the text by zxing-cpp 2 on 25 November 2026, printed
        # and as they are.
        (LINK, 33, "49b36a82dbc421e38b3c18423daec4094a8bc69e24486e12ca9431c0a375a7e6"),
        (LONGEST, 53, "e8c0f8532ec0d0cb2125fa0b92c8f157a1dfd0984615162486ac3cf30b676fee"),
    ],
)
def test_the_modules_are_those_that_another_program_could_read(
    text: str, size: int, digest: str
) -> None:
    grid = qr.qr_modules(text)

    assert grid.shape == (size, size)  # 17 + 4 × version, 6.3.1
    assert hashlib.sha256(np.packbits(grid).tobytes()).hexdigest() == digest


def test_every_version_has_its_finders_timing_and_room_for_its_words() -> None:
    ring = np.array([[max(abs(i), abs(j)) != 2 for j in range(-3, 4)] for i in range(-3, 4)])
    for version, (count, blocks) in qr.BLOCKS.items():
        dark, taken = qr.patterns(version)
        words = sum(blocks) + count * len(blocks)

        assert (dark[:7, :7] == ring).all()
        assert (dark[:7, -7:] == ring).all()
        assert (dark[-7:, :7] == ring).all()
        assert dark[6, 8:-8:2].all()
        assert not dark[6, 9:-8:2].any()
        assert 0 <= (~taken).sum() - 8 * words <= 7  # remainder bits, table 1


def test_what_does_not_fit_is_refused_and_left_off_the_paper() -> None:
    with pytest.raises(ValueError, match="181 bytes do not fit"):
        qr.qr_modules("x" * 181)


def test_the_drawing_has_a_name_and_a_quiet_zone_of_four_modules() -> None:
    drawing = qr.qr_svg(LINK, "Code & link")

    assert "<title>Code &amp; link</title>" in drawing
    assert 'viewBox="0 0 41 41"' in drawing
    assert "M4 4h7v1h-7z" in drawing
