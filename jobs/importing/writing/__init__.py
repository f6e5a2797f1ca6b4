"""What was read goes into the book: many rows at once, each row whole or not at all; and out of it
again."""

from jobs.importing.writing.chunks import ChunkWriter, Outcome
from jobs.importing.writing.copying import insert_rows, next_keys
from jobs.importing.writing.removal import BuiltOn, remove_made_rows, what_was_built_on

__all__ = [
    "BuiltOn",
    "ChunkWriter",
    "Outcome",
    "insert_rows",
    "next_keys",
    "remove_made_rows",
    "what_was_built_on",
]
