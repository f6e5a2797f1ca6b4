"""Photographs: nothing of the phone stays in them, nothing but pictures gets in, nobody unknown
sees them."""

import subprocess
import sys
import uuid
from base64 import b64decode
from collections.abc import Callable
from datetime import timedelta
from io import BytesIO
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone
from PIL import Image

from clients.models import Deck, User
from jobs import photos, pictures
from jobs.child_process import TOP
from jobs.models import Job, Photo
from jobs.photos import thumbnail_name
from jobs.pictures import UnreadablePictureError, shrink_picture
from restorer.backup.making import stored_file_names
from tests.factories import DeckFactory, JobFactory, ProductFactory
from tests.jobs.log_page import URL, filled, picture, row

pytestmark = pytest.mark.django_db


@pytest.fixture
def deck(business: object) -> Deck:
    return DeckFactory()


def stored(photo: Photo) -> Image.Image:
    with photo.image.open("rb") as file:
        return Image.open(BytesIO(file.read()))


def test_photos_lose_place_and_camera_stand_upright_and_are_shrunk(
    as_owner: Client, deck: Deck
) -> None:
    """Orientation 6 (EXIF 2.3, tag 0x0112):
    the camera lay on its side, the picture is turned by 90 degrees."""
    upload = picture((3000, 1500), orientation=6, name="IMG_0001.JPG")
    assert b"Tern phone" in upload.read()
    upload.seek(0)

    as_owner.post(
        URL,
        filled(deck, row(ProductFactory()), photos=[upload, picture(kind="PNG")], moment="found"),
    )

    large, small = Photo.objects.order_by("id")
    assert (large.job, large.deck, large.moment) == (Job.objects.get(), deck, "found")
    image = stored(large)
    assert (image.format, image.size, (large.width, large.height)) == (
        "JPEG",
        (1000, 2000),
        (1000, 2000),
    )
    assert dict(image.getexif()) == {}
    with large.image.open("rb") as file:
        raw = file.read()
    assert b"Exif" not in raw
    assert b"Tern phone" not in raw
    assert stored(small).size == (400, 300)
    assert "IMG_0001" not in large.image.name
    assert len(uuid.UUID(large.image.name.split("/")[-1].split(".")[0]).hex) == 32


@pytest.mark.parametrize(
    ("upload", "said"),
    [
        (
            SimpleUploadedFile("deck.jpg", b"%PDF-1.4 not a picture", "image/jpeg"),
            "not a picture we can read",
        ),
        (
            SimpleUploadedFile("deck.svg", b"<svg onload='alert(1)'/>", "image/svg+xml"),
            "not a picture we can read",
        ),
        (SimpleUploadedFile("deck.jpg", b"", "image/jpeg"), "not a picture we can read"),
        (
            SimpleUploadedFile("half.jpg", picture((900, 900)).read()[:900], "image/jpeg"),
            "not a picture we can read",
        ),
        (picture((10, 10), kind="TIFF", name="deck.tif"), "not a picture we can read"),
    ],
)
def test_what_is_no_picture_is_refused_by_name(
    as_owner: Client, deck: Deck, upload: SimpleUploadedFile, said: str
) -> None:
    upload.seek(0)
    response = as_owner.post(URL, filled(deck, row(ProductFactory()), photos=[upload]))

    assert response.status_code == 200
    assert said in response.content.decode()
    assert upload.name in response.content.decode()
    assert (Job.objects.count(), Photo.objects.count()) == (0, 0)


def test_twenty_megabytes_is_the_limit_and_a_bomb_of_pixels_is_refused(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with pytest.raises(photos.PhotoError, match="larger than 20 MB"):
        photos.normalize_photo(ContentFile(b"\0" * (20 * 1024 * 1024 + 1), name="deck.jpg"))
    monkeypatch.setitem(pictures.MAX_PIXELS, "JPEG", 1000)
    with pytest.raises(photos.PhotoError, match="too many pixels"):
        photos.normalize_photo(picture((60, 60)))


def bomb(side: int) -> bytes:
    """A PNG of one colour: small as a file, large as pixels."""
    out = BytesIO()
    Image.new("RGBA", (side, side), "teal").save(out, "PNG")
    return out.getvalue()


# 96 × 64, blue on the left and sienna on the right, with the place in its EXIF; written with
# another library's encoder (libheif, x265).
HEIC = b64decode("""
AAAAHGZ0eXBoZWljAAAAAG1pZjFoZWljbWlhZgAAAZdtZXRhAAAAAAAAACFoZGxyAAAAAAAAAABwaWN0AAAAAAAAAA
AAAAAAAAAAADRpbG9jAAAAAERAAAIAAQAAAAABuwABAAAAAAAAAFgAAgAAAAACEwABAAAAAAAAAHIAAAA4aWluZgAA
AAAAAgAAABVpbmZlAgAAAAABAABodmMxAAAAABVpbmZlAgAAAQACAABFeGlmAAAAAA5waXRtAAAAAAABAAAA1mlwcn
AAAAC3aXBjbwAAAHhodmNDAQNwAAAAkAAAAAAAHvAA/P34+AAADwNgAAEAGEABDAH//wNwAAADAJAAAAMAAAMAHroC
QGEAAQArQgEBA3AAAAMAkAAAAwAAAwAeoDCBBZbqSSmubgIaDAgAAAMAyAAAAwAIQGIAAQAHRAHBcrAiQAAAABNjb2
xybmNseAABAA0ABoAAAAAUaXNwZQAAAAAAAABgAAAAQAAAABBwaXhpAAAAAAMICAgAAAAXaXBtYQAAAAAAAAABAAEE
gQIDBAAAABppcmVmAAAAAAAAAA5jZHNjAAIAAQABAAAA0m1kYXQAAABUKAGvWIrYDpJf//awfI+odP/pUk6NxbzF/f
9Una+/wUBk2o8iGHYXlwCCqwb4Ae5/HLYLrzuOgnsW80bXJSLIm1KWBZppRuL9BTCOHpV/Gk43DwxgAAAABkV4aWYA
AE1NACoAAAAIAAIBDwACAAAACwAAACaIJQAEAAAAAQAAADIAAAAAVGVybiBwaG9uZQAAAAIAAQACAAAAAk4AAAAAAg
AFAAAAAwAAAFAAAAAAAAAALAAAAAEAAAAWAAAAAQAAADAAAAAB
""")


def test_a_photo_as_phones_save_it_is_read_and_loses_its_place(
    as_owner: Client, deck: Deck
) -> None:
    sent = SimpleUploadedFile("IMG_0007.HEIC", HEIC, "image/heic")

    as_owner.post(URL, filled(deck, row(ProductFactory()), photos=[sent]))

    with Photo.objects.get().image.open("rb") as file:
        content = file.read()
        image = Image.open(BytesIO(content)).convert("RGB")
    assert b"Tern phone" not in content
    assert image.size == (96, 64)
    left, right = image.getpixel((10, 30)), image.getpixel((85, 30))
    assert max(abs(a - b) for a, b in zip(left, (20, 60, 160), strict=True)) < 16
    assert max(abs(a - b) for a, b in zip(right, (160, 82, 45), strict=True)) < 16


@pytest.mark.parametrize("length", [24, 300, 600])
def test_half_a_heic_is_refused(length: int) -> None:
    with pytest.raises(UnreadablePictureError):
        shrink_picture(HEIC[:length])


def test_this_process_never_loads_the_decoder_of_heic() -> None:
    shrink_picture(HEIC)

    assert "pi_heif" not in sys.modules


def test_a_small_copy_is_made_once_and_goes_with_its_photo(
    as_owner: Client, django_capture_on_commit_callbacks: Callable[..., Any]
) -> None:
    job = JobFactory()
    as_owner.post(f"/jobs/{job.pk}/photos/", {"photos": [picture((1600, 1200))], "moment": "found"})
    photo = Photo.objects.get()
    first = as_owner.get(f"/jobs/photos/{photo.pk}/?small").content
    small = thumbnail_name(photo.image.name)
    assert default_storage.exists(small)
    assert small not in list(stored_file_names())  # a backup makes it again

    with default_storage.open(photo.image.name, "wb") as file:
        file.write(b"no picture")
    assert as_owner.get(f"/jobs/photos/{photo.pk}/?small").content == first

    page = as_owner.get(f"/decks/{job.deck_id}/").content.decode()
    assert f'src="/jobs/photos/{photo.pk}/?small"' in page
    with django_capture_on_commit_callbacks(execute=True):
        as_owner.post(f"/jobs/photos/{photo.pk}/change/", {"remove": "1"})
    assert not default_storage.exists(small)


def test_a_large_picture_is_decoded_by_a_process_of_its_own_as_by_ourselves(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    content = picture((900, 600), orientation=6).read()
    here = pictures.shrink_picture(content)
    monkeypatch.setattr(pictures, "MAX_PIXELS_HERE", 1)

    assert pictures.shrink_picture(content) == here
    with pytest.raises(pictures.UnreadablePictureError):
        pictures.shrink_picture(content[: len(content) // 2])


def test_a_bomb_ends_the_process_that_decodes_it_and_nothing_else(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(pictures, "MAX_PIXELS_HERE", 1)
    content = bomb(6000)
    assert Image.open(BytesIO(pictures.shrink_picture(content))).size == (2000, 2000)

    small = (
        "import jobs.pictures as p; p.CHILD_BYTES = 150_000_000; raise SystemExit(p.run_child())"
    )
    child = subprocess.run(
        [sys.executable, "-c", small], cwd=TOP, input=content, capture_output=True
    )
    assert child.returncode == pictures.TOO_MANY


def test_photos_wait_when_the_page_comes_back_with_an_error(as_owner: Client, deck: Deck) -> None:
    page = filled(deck, row(ProductFactory(), coats=0), photos=[picture(), picture((300, 300))])

    response = as_owner.post(URL, page)

    assert "2 photos are kept, too." in response.content.decode()
    as_owner.post(URL, {**page, "coats-0-coats": 1, "photos": [picture((200, 200))]})
    assert Job.objects.get().photos.count() == 3
    assert photos.staged_photo_names(uuid.UUID(page["form_key"])) == []


def test_photos_wait_while_another_product_is_added_and_forgotten_ones_are_thrown_away(
    as_owner: Client, deck: Deck
) -> None:
    page = filled(deck, row(ProductFactory()), photos=[picture()], add_product="1")
    as_owner.post(URL, page)
    key = uuid.UUID(page["form_key"])
    assert len(photos.staged_photo_names(key)) == 1

    assert photos.delete_abandoned_photos(now=timezone.now()) == 0
    assert photos.delete_abandoned_photos(now=timezone.now() + timedelta(days=3)) == 1

    assert photos.staged_photo_names(key) == []


def test_only_people_who_are_signed_in_see_a_photo(
    as_owner: Client, deck: Deck, client: Client
) -> None:
    as_owner.post(URL, filled(deck, row(ProductFactory()), photos=[picture((1600, 1200))]))
    photo = Photo.objects.get()

    whole = as_owner.get(f"/jobs/photos/{photo.pk}/")
    image = Image.open(BytesIO(b"".join(whole)))
    small = as_owner.get(f"/jobs/photos/{photo.pk}/?small")

    assert client.get(f"/jobs/photos/{photo.pk}/").status_code == 302
    assert whole["Content-Type"] == small["Content-Type"] == "image/jpeg"
    assert whole["Cache-Control"].startswith("private, ")
    assert image.size == (1600, 1200)
    assert Image.open(BytesIO(small.content)).size == (640, 480)


def test_a_photo_is_added_described_and_removed(
    as_owner: Client,
    crew: User,
    as_user: Callable[[User], Client],
    django_capture_on_commit_callbacks: Callable[..., Any],
) -> None:
    job = JobFactory()
    add = {"photos": [picture()], "moment": "found", "caption": "Flaking by the stairs"}

    as_user(crew).post(f"/jobs/{job.pk}/photos/", add)
    photo = Photo.objects.get()
    assert 'alt="Flaking by the stairs"' in as_owner.get(f"/jobs/{job.pk}/").content.decode()
    as_user(crew).post(f"/jobs/photos/{photo.pk}/change/", {"caption": "Flaking by the door"})
    photo.refresh_from_db()
    assert photo.caption == "Flaking by the door"

    assert (
        as_user(crew).post(f"/jobs/photos/{photo.pk}/change/", {"remove": "1"}).status_code == 403
    )
    with django_capture_on_commit_callbacks(execute=True):
        as_owner.post(f"/jobs/photos/{photo.pk}/change/", {"remove": "1"})

    assert Photo.objects.count() == 0
    assert not default_storage.exists(photo.image.name)


def test_adding_no_photo_or_a_broken_one_says_so_on_the_page_of_the_job(as_owner: Client) -> None:
    job = JobFactory()
    broken = SimpleUploadedFile("deck.jpg", b"no", "image/jpeg")

    for files, said in ([], "Choose at least one photo"), ([broken], "not a picture we can read"):
        response = as_owner.post(f"/jobs/{job.pk}/photos/", {"photos": files, "moment": "found"})
        assert response.status_code == 200
        assert said in response.content.decode()
    assert Photo.objects.count() == 0


def test_a_photo_whose_file_is_gone_is_not_found(as_owner: Client) -> None:
    job = JobFactory()
    as_owner.post(f"/jobs/{job.pk}/photos/", {"photos": [picture()], "moment": "found"})
    photo = Photo.objects.get()
    default_storage.delete(photo.image.name)

    assert as_owner.get(f"/jobs/photos/{photo.pk}/").status_code == 404
