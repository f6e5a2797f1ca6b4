"""Addresses of the due list, decks, reminder steps, pacing and figures."""
