"""Why a channel is standing still, kept in the cache that all processes share, for the outbox
page."""

from django.core.cache import cache

DOWN_SECONDS = 600
BOUNCE_MAILBOX = "bounces"  # no channel, but the mailbox of what comes back


def mark_down(channel: str, why: str) -> None:
    cache.set(f"line-down/{channel}", why, DOWN_SECONDS)


def mark_up(channel: str) -> None:
    cache.delete(f"line-down/{channel}")


def down_reasons(channels: list[str]) -> dict[str, str]:
    """Channel → reason, of those in trouble."""
    found = cache.get_many([f"line-down/{channel}" for channel in channels])
    return {key.partition("/")[2]: why for key, why in found.items()}
