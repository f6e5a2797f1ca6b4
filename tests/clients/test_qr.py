"""The code to scan on an offer: what another program could read, the finders of ISO/IEC 18004, and
the drawing."""

import hashlib
from base64 import b64decode
from io import BytesIO

import numpy as np
import pytest
from django.template import Context, Template
from PIL import Image

from clients import qr

LINK = "https://decks.example.com/o/0123456789abcdefghijklmnopqrstuv/"
LONGEST = f"https://decks.example.com/o/{'z' * 149}/"


def modules(text: str) -> np.ndarray:
    return np.array(list(qr.qr_code(text).matrix_iter(border=0)), dtype=bool)


@pytest.mark.parametrize(
    ("text", "size", "digest"),
    [
        # These very modules were read back as the text, and as level M, by zxing-cpp 3.1 on
        # 29 November 2026.
        (LINK, 33, "b1237091923fbddaeb9d19b3104b95609f90c1f1f9cd30f490d1a0fff17c261d"),
        (LONGEST, 53, "946b7dae67ef07b9cc087c3ae977ded204a01cdddb216df822f8effa109a8bf4"),
    ],
)
def test_the_modules_are_those_that_another_program_could_read(
    text: str, size: int, digest: str
) -> None:
    grid = modules(text)

    assert grid.shape == (size, size)  # 17 + 4 × version, 6.3.1
    assert hashlib.sha256(np.packbits(grid).tobytes()).hexdigest() == digest


@pytest.mark.parametrize("length", [1, 28, 84, 122, 180])
def test_every_size_has_its_finders_timing_and_level(length: int) -> None:
    dark = modules("x" * length)
    ring = np.array([[max(abs(i), abs(j)) != 2 for j in range(-3, 4)] for i in range(-3, 4)])

    assert (dark[:7, :7] == ring).all()
    assert (dark[:7, -7:] == ring).all()
    assert (dark[-7:, :7] == ring).all()
    assert dark[6, 8:-8:2].all()
    assert not dark[6, 9:-8:2].any()
    # level M is 00; the format is laid XOR 10 (7.9.1), so its first two modules are 1 and 0
    assert dark[8, :2].tolist() == [True, False]


def test_what_does_not_fit_is_refused_and_left_off_the_paper() -> None:
    too_long = "x" * 181

    with pytest.raises(ValueError, match="181 bytes do not fit"):
        qr.qr_svg(too_long, "Code")
    assert Template("{% load papers %}{{ link|as_qr }}").render(Context({"link": too_long})) == ""


def test_the_drawing_has_a_name_and_a_quiet_zone_of_four_modules() -> None:
    drawing = qr.qr_svg(LINK, "Code & link")

    assert "<title>Code &amp; link</title>" in drawing
    assert 'viewBox="0 0 41 41"' in drawing
    assert "M4 4.5h7" in drawing


def test_the_picture_for_paper_has_the_same_modules() -> None:
    kind, _, content = qr.qr_png(LINK).partition(",")
    picture = np.array(Image.open(BytesIO(b64decode(content))).convert("L")) < 128
    middle = qr.PIXELS_A_MODULE // 2
    grid = picture[middle :: qr.PIXELS_A_MODULE, middle :: qr.PIXELS_A_MODULE]

    assert kind == "data:image/png;base64"
    assert (grid == np.pad(modules(LINK), qr.QUIET_ZONE)).all()
