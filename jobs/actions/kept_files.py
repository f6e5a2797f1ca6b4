"""Keep photographs and documents with a deck or a product, without a job."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from clients.actions.saving import lock_row, lock_until_commit, save_if_changed
from clients.models import Deck
from jobs.kept_files import CheckedPdf, KeptFile
from jobs.models import Document, Photo, Product
from jobs.photos import delete_photo_files, keep_small_copy


@dataclass(frozen=True)
class FilesInput:
    """Files with the names they were sent under; `words` say what they are, else the name does.
    The rest is about photographs."""

    uploads: Sequence[tuple[str, KeptFile]]
    words: str = ""
    moment: str = Photo.Moment.FOUND
    taken_on: date | None = None
    shows_people: bool = False


@transaction.atomic
def keep_with_deck(*, deck: Deck, new: FilesInput, now: datetime) -> list[Photo | Document]:
    """PDFs as documents, pictures as photographs; those that the deck has already are left out."""
    lock_until_commit(f"files of deck {deck.pk}")
    taken = set(deck.photos.filter(job=None).values_list("content_hash", flat=True))
    taken |= set(deck.documents.values_list("content_hash", flat=True))
    made: list[Photo | Document] = []
    for name, file in new_files(new, taken):
        if isinstance(file, CheckedPdf):
            made.append(keep_document(file, new.words or name, now, deck=deck))
        else:
            made.append(keep_photo(deck, file, new, now))
    return made


@transaction.atomic
def keep_with_product(*, product: Product, new: FilesInput, now: datetime) -> list[Document]:
    """Those that the product does not have yet."""
    lock_until_commit(f"files of product {product.pk}")
    taken = set(product.documents.values_list("content_hash", flat=True))
    return [
        keep_document(file, new.words or name, now, product=product)
        for name, file in new_files(new, taken)
    ]


def new_files(new: FilesInput, taken: set[str]) -> list[tuple[str, KeptFile]]:
    """Each once."""
    by_hash = {file.content_hash: (name, file) for name, file in reversed(new.uploads)}
    return [by_hash[key] for key in reversed(by_hash) if key not in taken]


def keep_document(
    file: KeptFile,
    title: str,
    now: datetime,
    *,
    deck: Deck | None = None,
    product: Product | None = None,
) -> Document:
    return Document.objects.create(
        deck=deck,
        product=product,
        title=title.strip(),
        file=file,
        size=file.size,
        content_hash=file.content_hash,
        created_at=now,
    )


def keep_photo(deck: Deck, file: KeptFile, new: FilesInput, now: datetime) -> Photo:
    photo = Photo.objects.create(
        deck=deck,
        image=file,
        moment=new.moment,
        caption=new.words.strip(),
        content_hash=file.content_hash,
        shows_people=new.shows_people,
        taken_on=new.taken_on or now.date(),
        created_at=now,
    )
    keep_small_copy(photo.image.name or "")
    return photo


@transaction.atomic
def rename_document(*, document: Document, title: str) -> None:
    """An empty title changes nothing."""
    if title.strip():
        save_if_changed(lock_row(document), {"title": title.strip()})


@transaction.atomic
def remove_document(*, document: Document) -> None:
    name = document.file.name or ""
    document.delete()
    transaction.on_commit(lambda: delete_photo_files([name]))
