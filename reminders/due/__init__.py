"""The due list of a month, and a deck with its forecast as one row of a query."""
