"""All figures in the text format of Prometheus: those of the book read now, those of requests
gathered from every web process of this machine."""

from collections.abc import Iterator
from datetime import datetime

from django.conf import settings
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.multiprocess import MultiProcessCollector
from prometheus_client.registry import Collector

from clients.messaging.models.message import State
from restorer.metrics.wellbeing import Wellbeing, read_wellbeing


class BookCollector(Collector):
    """What `read_wellbeing` saw, as gauges."""

    def __init__(self, seen: Wellbeing) -> None:
        self.seen = seen

    def collect(self) -> Iterator[GaugeMetricFamily]:
        loops = GaugeMetricFamily(
            "restorer_loop_age_seconds", "Since a background loop last worked.", labels=["loop"]
        )
        for name, age in self.seen.loops.items():
            loops.add_metric([name], age)
        messages = GaugeMetricFamily(
            "restorer_messages_last_day", "Messages of the last 24 hours.", labels=["state"]
        )
        for state in State.values:
            messages.add_metric([state], self.seen.messages.get(state, 0))
        yield from (loops, messages, *self.outbox(), *self.ages())

    def outbox(self) -> Iterator[GaugeMetricFamily]:
        seen = self.seen
        yield GaugeMetricFamily(
            "restorer_outbox_wait_seconds",
            "How long the first message in line could have gone out.",
            value=seen.oldest_waiting or 0,
        )
        yield GaugeMetricFamily(
            "restorer_outbox_overdue_messages", "In line for a quarter of an hour.", seen.overdue
        )
        yield GaugeMetricFamily(
            "restorer_outbox_undecided_messages",
            "Unconfirmed, failed or bounced, and nobody has decided yet.",
            seen.needing_a_person,
        )

    def ages(self) -> Iterator[GaugeMetricFamily]:
        """Left out where there is nothing yet: an age of nothing is no number."""
        for name, words, age in (
            ("forecast", "Of the oldest forecast.", self.seen.forecast_age),
            ("backup", "Of the newest backup.", self.seen.made_backup_age),
            ("proven_backup", "Since a backup was last proven.", self.seen.proven_backup_age),
        ):
            if age is not None:
                yield GaugeMetricFamily(f"restorer_{name}_age_seconds", words, value=age)


def write_metrics(*, now: datetime) -> bytes:
    registry = CollectorRegistry()
    registry.register(BookCollector(read_wellbeing(now=now)))
    MultiProcessCollector(registry, path=str(settings.METRICS_DIR))  # type: ignore[no-untyped-call]
    return generate_latest(registry)
