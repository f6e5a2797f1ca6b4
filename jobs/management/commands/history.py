"""`manage.py history "text"`: what went on the decks that the words mean."""

from argparse import ArgumentParser
from collections.abc import Iterator
from typing import Any

from django.utils import timezone

from clients.management.opening import BookCommand
from clients.models import Business, Client, Deck
from clients.tables import add_format_option, write_rows
from jobs import search
from jobs.models import Job

HISTORY_COLUMNS = [
    "client",
    "property",
    "deck",
    "deck_id",
    "finished_on",
    "kind",
    "product",
    "maker",
    "colour",
    "batch",
    "surfaces",
    "coats",
    "litres",
]


class Command(BookCommand):
    help = (
        "Look up what went on a deck: name, phone, address, product, colour, batch, year, month,"
        " work, state, offer number or any words."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "words", nargs="+", help="The words to look for; typing errors are forgiven."
        )
        parser.add_argument(
            "--limit", type=int, default=20, help="At most so many decks (default 20)."
        )
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        business = Business.current()
        found = search.find_decks(
            " ".join(options["words"]),
            limit=max(1, options["limit"]),
            today=business.today(timezone.now()) if business else timezone.now().date(),
        )
        for typed, read in found.read_as.items():
            self.stderr.write(f"“{typed}” is not in the book; read as “{read}”.")
        for typed in found.unknown:
            self.stderr.write(f"“{typed}” is not in the book, nor anything like it.")
        for typed in found.failed:
            self.stderr.write(f"Nothing fits “{typed}” together with the rest; left out.")
        for words in archived_words(found):
            self.stderr.write(f"{words} is archived.")
        write_rows(
            history_rows(found), format=options["format"], out=self.stdout, columns=HISTORY_COLUMNS
        )


def history_rows(found: search.SearchResult) -> Iterator[dict[str, Any]]:
    """One row a product that went on, decks in order of rank, of each the lines that answer first;
    a deck without jobs gives one row without them."""
    deck_ids = [hit.deck_id for hit in found.hits if hit.deck_id]
    decks = Deck.objects.with_owner().in_bulk(deck_ids)
    clients = Client.objects.in_bulk([hit.client_id for hit in found.hits if not hit.deck_id])
    coats = search.coat_records_by_deck(deck_ids)
    for hit in found.hits:
        if hit.deck_id is None:
            yield {"client": clients[hit.client_id].name}
            continue
        owner = deck_columns(decks[hit.deck_id])
        for line in search.split_history(coats[hit.deck_id], found.asked).lines:
            yield owner | coat_columns(line)
        if not coats[hit.deck_id]:
            yield owner


def archived_words(found: search.SearchResult) -> Iterator[str]:
    """Which of the decks and clients that were found are archived."""
    deck_ids = [hit.deck_id for hit in found.hits if hit.deck_id]
    client_ids = [hit.client_id for hit in found.hits if not hit.deck_id]
    current = Deck.objects.current().values("pk")
    for deck in Deck.objects.with_owner().filter(pk__in=deck_ids).exclude(pk__in=current):
        yield f"{deck} ({deck.site.client.name})"
    yield from (
        Client.objects.filter(pk__in=client_ids)
        .exclude(archived_at=None)
        .values_list("name", flat=True)
    )


def deck_columns(deck: Deck) -> dict[str, Any]:
    place = deck.site
    return {
        "client": place.client.name,
        "property": place.address,
        "deck": deck.label,
        "deck_id": deck.pk,
    }


def coat_columns(line: search.CoatRecord) -> dict[str, Any]:
    return {
        "finished_on": line.edtf,
        "kind": Job.Kind(line.kind).label,
        "product": line.product,
        "maker": line.maker,
        "colour": line.colour,
        "batch": line.batch,
        "surfaces": " ".join(line.surfaces),
        "coats": line.coats,
        "litres": line.litres,
    }
