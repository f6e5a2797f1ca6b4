"""Decoding of pictures that strangers chose: limited by pixels before a pixel is read; what is
large is decoded by a process of its own with little memory and time.

Pure Pillow: `python -m jobs.pictures` reads a picture and writes the JPEG. HEIC (ISO/IEC 23008-12),
as some phones save it, is never opened but in that process, which alone loads its decoder.
"""

import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO

from PIL import Image, ImageFile, ImageOps, UnidentifiedImageError

from jobs.child_process import limit_this_process, run_apart

PHOTO_FORMATS = ["JPEG", "PNG", "WEBP"]
MAX_SIDE_PIXELS = 2000
LOGO_PIXELS = (480, 180)  # 45 mm by 17 mm at 270 dots an inch
PLAIN_LOGO_BYTES = 30_000  # a larger one gets a palette: it travels with every e-mail
LOGO_COLOURS = 128
MAX_PIXELS = {"JPEG": 108_000_000}  # the largest telephone cameras that are common
MAX_PIXELS_ELSE = 50_000_000  # of what is not read at a smaller size
MAX_PIXELS_HERE = 16_000_000  # four bytes each: no more than a page may take beside other work
CHILD_BYTES = 900_000_000  # of address space
CHILD_SECONDS = 20
TOO_MANY, UNREADABLE = 3, 4  # how the child ends
# Brands of a file that may be HEIC: ISO/IEC 23008-12, 10.2 and annex B; “ftyp” by ISO/IEC 14496-12.
HEIF_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}


class TooManyPixelsError(ValueError):
    """More than we decode; or the decoder ran out of memory or time."""


class UnreadablePictureError(ValueError):
    """No picture of a kind that we read, or half of one."""


def shrink_picture(content: bytes) -> bytes:
    """An upright JPEG of at most 2000 pixels a side without EXIF.

    Raises
    ------
    TooManyPixelsError, UnreadablePictureError
    """
    return decode_apart(content) if needs_a_child(content) else decode_here(content)


def shrink_logo(content: bytes) -> bytes:
    """An upright PNG of at most 480 by 180 pixels on white; raises the same."""
    readable = decode_apart(content) if needs_a_child(content) else content
    with pillow_errors(), Image.open(BytesIO(readable), formats=PHOTO_FORMATS) as opened:
        opened.thumbnail(LOGO_PIXELS)
        picture = upright_rgb(opened)
    plain = encode_png(picture)
    return plain if len(plain) <= PLAIN_LOGO_BYTES else encode_png(picture.quantize(LOGO_COLOURS))


def encode_png(picture: Image.Image) -> bytes:
    """The pixels alone."""
    out = BytesIO()
    fresh = Image.new(picture.mode, picture.size)
    fresh.paste(picture)
    if picture.mode == "P":
        fresh.putpalette(picture.getpalette() or [])
    fresh.save(out, "PNG", optimize=True)
    return out.getvalue()


def needs_a_child(content: bytes) -> bool:
    """Whether it is only decoded apart; by the head of the file alone. Raises as `shrink_picture`
    does."""
    if is_heif(content):
        return True
    with pillow_errors(), Image.open(BytesIO(content), formats=PHOTO_FORMATS) as opened:
        pixels = opened.width * opened.height
        limit = MAX_PIXELS.get(opened.format or "", MAX_PIXELS_ELSE)
    if pixels > limit:
        raise TooManyPixelsError
    return pixels > MAX_PIXELS_HERE


def is_heif(content: bytes) -> bool:
    return content[4:8] == b"ftyp" and content[8:12] in HEIF_BRANDS


def decode_heif(content: bytes) -> bytes:
    """For the child alone."""
    from pi_heif import register_heif_opener

    register_heif_opener()
    with pillow_errors(), Image.open(BytesIO(content), formats=["HEIF"]) as opened:
        if opened.width * opened.height > MAX_PIXELS_ELSE:
            raise TooManyPixelsError
        opened.thumbnail((MAX_SIDE_PIXELS, MAX_SIDE_PIXELS))
        return encode_jpeg(upright_rgb(opened))


def decode_here(content: bytes) -> bytes:
    with pillow_errors(), Image.open(BytesIO(content), formats=PHOTO_FORMATS) as opened:
        # shrunk before it is copied; a large JPEG is even read at the size that is needed
        opened.thumbnail((MAX_SIDE_PIXELS, MAX_SIDE_PIXELS))
        return encode_jpeg(upright_rgb(opened))


def decode_apart(content: bytes) -> bytes:
    """The same in a child, which alone ends when the picture is a bomb."""
    try:
        done = run_apart("jobs.pictures", content, seconds=CHILD_SECONDS)
    except TimeoutError as error:
        raise TooManyPixelsError from error
    if done.returncode == UNREADABLE:
        raise UnreadablePictureError
    if done.returncode:  # it said so, or was ended by a limit
        raise TooManyPixelsError
    return done.stdout


@contextmanager
def pillow_errors() -> Iterator[None]:
    """What Pillow says of bad files, in our words. The library that prints PDFs tells it to accept
    half a file; a photo that broke off must be sent again."""
    before = ImageFile.LOAD_TRUNCATED_IMAGES
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    try:
        with warnings.catch_warnings():
            # ours are the limits, and lower than where Pillow refuses
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            yield
    except (Image.DecompressionBombError, MemoryError) as error:
        raise TooManyPixelsError from error
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError) as error:
        raise UnreadablePictureError from error
    finally:
        ImageFile.LOAD_TRUNCATED_IMAGES = before


def upright_rgb(opened: Image.Image) -> Image.Image:
    """The picture alone, upright, transparent parts on white."""
    picture = ImageOps.exif_transpose(opened)
    if "A" in picture.getbands() or "transparency" in picture.info:
        picture = picture.convert("RGBA")
        picture = Image.alpha_composite(Image.new("RGBA", picture.size, "white"), picture)
    return picture.convert("RGB")


def encode_jpeg(picture: Image.Image) -> bytes:
    """A fresh copy of the pixels: no EXIF, no comment, no colour profile travels along."""
    out = BytesIO()
    fresh = Image.new("RGB", picture.size)
    fresh.paste(picture)
    fresh.save(out, "JPEG", quality=82, optimize=True, progressive=True)
    return out.getvalue()


def run_child() -> int:
    limit_this_process(address_bytes=CHILD_BYTES, cpu_seconds=CHILD_SECONDS)
    try:
        content = sys.stdin.buffer.read()
        decode = decode_heif if is_heif(content) else decode_here
        sys.stdout.buffer.write(decode(content))
    except TooManyPixelsError:
        return TOO_MANY
    except UnreadablePictureError:
        return UNREADABLE
    return 0


if __name__ == "__main__":
    sys.exit(run_child())
