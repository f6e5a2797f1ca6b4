"""Why a channel is standing still, kept in the cache that all processes share, for the outbox page."""

from django.core.cache import cache

KEEP_SECONDS = 600
BOUNCES = "bounces"  # no channel, but the mailbox of what comes back


def note(channel: str, why: str) -> None:
    cache.set(f"line-down/{channel}", why, KEEP_SECONDS)


def clear(channel: str) -> None:
    cache.delete(f"line-down/{channel}")


def of(channels: list[str]) -> dict[str, str]:
    """Channel → reason, of those in trouble."""
    found = cache.get_many([f"line-down/{channel}" for channel in channels])
    return {key.partition("/")[2]: why for key, why in found.items()}
