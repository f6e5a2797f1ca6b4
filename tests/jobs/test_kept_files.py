"""Photographs and documents without a job: checked, kept with a deck or a product, served to be
downloaded, in backup and export, gone with an erased person."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client as Browser
from django.utils import timezone
from pypdf import PdfWriter

from clients.models import Deck, FormerOwner, User
from jobs.actions import FilesInput, erasing, keep_with_deck
from jobs.actions.photo_files import delete_orphaned_photos
from jobs.kept_files import check_kept_file
from jobs.models import Document, Photo
from restorer.backup import stored_file_names
from restorer.export.writing import write_zip
from tests.factories import ClientFactory, DeckFactory, JobFactory, ProductFactory
from tests.jobs.log_page import picture

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)


def pdf(*, password: str = "", name: str = "Stair drawing_v2.pdf") -> SimpleUploadedFile:
    writer = PdfWriter()
    writer.add_blank_page(width=200, height=100)
    if password:
        writer.encrypt(password)
    out = BytesIO()
    writer.write(out)
    return SimpleUploadedFile(name, out.getvalue(), "application/pdf")


def sent(*files: SimpleUploadedFile, **values: Any) -> dict[str, Any]:
    return {"uploads": list(files), "moment": "found", "taken_on": "2026-05-20", **values}


@pytest.fixture
def deck(business: object) -> Deck:
    return DeckFactory(label="Sun deck")


def test_photos_and_documents_are_kept_with_a_deck_each_once(as_owner: Browser, deck: Deck) -> None:
    url = f"/jobs/deck-files/{deck.pk}/"
    assert 'accept="application/pdf,image/jpeg,image/heic,' in as_owner.get(url).content.decode()
    as_owner.post(url, sent(pdf(), picture(), shows_people="on"))
    again = as_owner.post(url, sent(pdf(), picture()), follow=True)

    document, photo = Document.objects.get(), Photo.objects.get()
    assert "0 files added. 2 were here already." in again.content.decode()
    assert (document.deck, document.title) == (deck, "Stair drawing v2")
    assert (photo.deck, photo.job, photo.taken_on) == (deck, None, date(2026, 5, 20))
    assert photo.shows_people
    page = as_owner.get(f"/decks/{deck.pk}/").content.decode()
    assert "Stair drawing v2" in page
    assert f"/jobs/photos/{photo.pk}/" in page


def test_a_document_is_downloaded_and_never_opened_in_a_page_of_ours(
    as_owner: Browser, client: Browser, deck: Deck
) -> None:
    upload = pdf()
    as_owner.post(f"/jobs/deck-files/{deck.pk}/", sent(upload, words="Plan; of “stairs”"))
    address = f"/jobs/documents/{Document.objects.get().pk}/"

    answer = as_owner.get(address)

    upload.seek(0)
    assert b"".join(answer) == upload.read()
    # RFC 6266: attachment; RFC 8187 for what is not ASCII
    assert answer["Content-Disposition"].startswith("attachment; filename*=utf-8''Plan%3B")
    assert answer["Content-Type"] == "application/pdf"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert "sandbox" in answer["Content-Security-Policy"]
    assert client.get(address).status_code == 302


@pytest.mark.parametrize(
    ("upload", "said"),
    [
        (pdf(password="low tide"), "asks for a password"),
        (SimpleUploadedFile("half.pdf", b"%PDF-1.7 and no more"), "cannot be opened"),
        (SimpleUploadedFile("plan.dwg", b"AC1032 drawing"), "is no PDF and no picture"),
        (SimpleUploadedFile("deck.jpg", b"<svg/>"), "not a picture we can read"),
        (
            SimpleUploadedFile("big.pdf", b"%PDF-1.7" + b"0" * 20 * 1024 * 1024),
            "larger than 20 MB",
        ),
    ],
)
def test_what_cannot_be_kept_is_refused_by_name_and_nothing_is_kept(
    as_owner: Browser, deck: Deck, upload: SimpleUploadedFile, said: str
) -> None:
    upload.seek(0)
    page = as_owner.post(f"/jobs/deck-files/{deck.pk}/", sent(pdf(), upload)).content.decode()

    assert said in page
    assert f"“{upload.name}”" in page
    assert not Document.objects.exists()


def test_a_product_keeps_its_data_sheet_and_everybody_may_read_it(
    as_owner: Browser, crew: User, as_user: Callable[[User], Browser]
) -> None:
    product = ProductFactory()
    url = f"/jobs/products/{product.pk}/files/"
    as_owner.post(url, {"uploads": [pdf(name="TDS.pdf")], "words": "Data sheet"})
    document = Document.objects.get()
    change = f"/jobs/documents/{document.pk}/change/"

    assert (document.product, document.deck, document.title) == (product, None, "Data sheet")
    assert "Data sheet" in as_user(crew).get(url).content.decode()
    assert as_user(crew).post(change, {"remove": "1"}).status_code == 403
    as_user(crew).post(change, {"title": "Data sheet 2026"})
    document.refresh_from_db()
    assert document.title == "Data sheet 2026"


def test_a_removed_document_takes_its_file_along(
    as_owner: Browser, deck: Deck, django_capture_on_commit_callbacks: Any
) -> None:
    as_owner.post(f"/jobs/deck-files/{deck.pk}/", sent(pdf()))
    document = Document.objects.get()
    with django_capture_on_commit_callbacks(execute=True):
        as_owner.post(f"/jobs/documents/{document.pk}/change/", {"remove": "1"})

    assert not Document.objects.exists()
    assert not default_storage.exists(document.file.name)


def test_documents_are_in_backup_and_export(as_owner: Browser, deck: Deck, tmp_path: Path) -> None:
    as_owner.post(f"/jobs/deck-files/{deck.pk}/", sent(pdf()))
    name = Document.objects.get().file.name

    out = BytesIO()
    write_zip(out)

    assert name in list(stored_file_names())
    with ZipFile(out) as archive:
        assert f"files/{name}" in archive.namelist()
        assert b"Stair drawing v2" in archive.read("tables/jobs_document.csv")


def test_a_file_that_no_row_names_is_swept_when_it_is_old(as_owner: Browser, deck: Deck) -> None:
    as_owner.post(f"/jobs/deck-files/{deck.pk}/", sent(pdf()))
    kept = Document.objects.get().file.name
    stray = default_storage.save("documents/2026/05/stray.pdf", ContentFile(b"%PDF"))

    assert delete_orphaned_photos(now=timezone.now() + timedelta(days=3)) > 0
    assert not default_storage.exists(stray)
    assert default_storage.exists(kept)


def kept(deck: Deck, *files: SimpleUploadedFile, at: datetime = NOW, **values: Any) -> None:
    new = [(file.name or "", check_kept_file(file)) for file in files]
    keep_with_deck(deck=deck, new=FilesInput(new, **values), now=at)


def test_with_an_erased_person_go_papers_and_photos_that_show_people(
    owner: User, deck: Deck, django_capture_on_commit_callbacks: Any
) -> None:
    kept(deck, pdf(), picture((40, 30)), shows_people=True)
    kept(deck, picture((50, 30)))
    theirs = Document.objects.get()
    kept(DeckFactory(), pdf())

    with django_capture_on_commit_callbacks(execute=True):
        proof = erasing.erase_client(client=deck.site.client, by=owner, now=NOW)

    assert [photo.shows_people for photo in Photo.objects.all()] == [False]
    assert Document.objects.get().deck != deck
    assert not default_storage.exists(theirs.file.name)
    assert (proof.counts["documents"], proof.counts["photos"]) == (1, 1)


def test_of_a_house_that_was_sold_only_papers_of_their_time_go(owner: User, deck: Deck) -> None:
    before, sold = deck.site.client, ClientFactory()
    kept(deck, pdf(), at=NOW - timedelta(days=30))
    deck.site.client = sold
    deck.site.save()
    FormerOwner.objects.create(site=deck.site, client=before, until=NOW.date())
    kept(deck, picture(), at=NOW + timedelta(days=30))
    later = Document.objects.create(
        deck=deck, title="Later", size=1, content_hash="b", created_at=NOW + timedelta(days=30)
    )

    erasing.erase_client(client=before, by=owner, now=NOW + timedelta(days=60))

    assert list(Document.objects.all()) == [later]


def test_before_and_after_stand_side_by_side(as_owner: Browser, deck: Deck) -> None:
    job = JobFactory(deck=deck)
    for moment, size in (("found", 40), ("found", 44), ("finished", 48), ("during", 52)):
        as_owner.post(
            f"/jobs/{job.pk}/photos/",
            {"photos": [picture((size, 30))], "moment": moment, "caption": f"{moment} {size}"},
        )

    page = as_owner.get(f"/decks/{deck.pk}/").content.decode()

    assert page.count('class="before-after"') == 1
    pair = page.partition('class="before-after"')[2].partition("</div>")[0]
    assert "found 40" in pair
    assert "finished 48" in pair
    assert "found 44" not in pair
    assert page.count("<figure>") == 4
