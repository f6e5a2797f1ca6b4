"""Addresses of the outbox, its channels, the texts and what posts to us."""
