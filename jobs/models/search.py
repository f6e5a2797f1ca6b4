"""What the search reads: one weighted word list a deck, and the vocabulary that mends typing
errors.

Both are kept by triggers (migration `0002_search`), so that whatever writes a row, a page, an
import or COPY, is found.
"""

from django.contrib.postgres.fields import ArrayField
from django.contrib.postgres.indexes import GinIndex, OpClass
from django.contrib.postgres.search import SearchVectorField
from django.db import models
from django.db.models.functions import Now

from clients.models import Client, Deck


class SearchEntry(models.Model):
    """All words by which a deck can be found; a client without decks has one entry with no deck."""

    client = models.ForeignKey(Client, on_delete=models.CASCADE, related_name="+")
    deck = models.ForeignKey(Deck, null=True, on_delete=models.CASCADE, related_name="+")
    document = SearchVectorField()

    class Meta:
        verbose_name_plural = "search entries"
        constraints = [
            models.UniqueConstraint(
                fields=["client", "deck"],
                nulls_distinct=False,
                name="search_entry_once_a_client_and_deck",
            )
        ]
        indexes = [GinIndex(fields=["document"], name="search_entry_by_word")]

    def __str__(self) -> str:
        return f"Search words of {self.deck or self.client}"


class SearchWord(models.Model):
    """A word that occurs somewhere in the book; trigrams find the one that was meant."""

    word = models.CharField(max_length=60, primary_key=True)

    class Meta:
        indexes = [
            GinIndex(OpClass("word", name="gin_trgm_ops"), name="search_word_trigrams"),
            models.Index(OpClass("word", name="text_pattern_ops"), name="search_word_by_prefix"),
        ]

    def __str__(self) -> str:
        return self.word


class UnwrittenSearch(models.Model):
    """Clients whose words are still to be written for the search: noted in the transaction that
    changed them, gone in the one that wrote the words."""

    client_ids = ArrayField(models.BigIntegerField())
    made_at = models.DateTimeField(db_default=Now())

    def __str__(self) -> str:
        return f"{len(self.client_ids)} clients"
