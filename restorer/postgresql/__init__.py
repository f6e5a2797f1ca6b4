"""Django's PostgreSQL, where a new column keeps its default in the database: while a new release
migrates, the one before it goes on writing rows without that column (docs/decisions/0057)."""
