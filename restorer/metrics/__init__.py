"""How well the installation is: figures for machines that watch, traces where the environment says
where they go, and plain words for the owner."""

from django.core.exceptions import ImproperlyConfigured

from restorer.metrics.exposition import write_metrics
from restorer.metrics.request_times import RequestTimesMiddleware, forget_request_times
from restorer.metrics.wellbeing import (
    Trouble,
    Wellbeing,
    count_overdue_messages,
    find_troubles,
    read_wellbeing,
    silent_loops,
)

__all__ = [
    "RequestTimesMiddleware",
    "Trouble",
    "Wellbeing",
    "count_overdue_messages",
    "find_troubles",
    "forget_request_times",
    "read_wellbeing",
    "silent_loops",
    "start_tracing",
    "write_metrics",
]


def start_tracing() -> None:
    """Loads OpenTelemetry, which an installation without traces need not have."""
    try:
        from restorer.metrics import tracing
    except ModuleNotFoundError as error:
        raise ImproperlyConfigured(
            f"OTEL_EXPORTER_OTLP_ENDPOINT is set, and {error.name} is not installed. Install"
            " opentelemetry-sdk and opentelemetry-exporter-otlp-proto-http, or unset it."
        ) from error
    tracing.start()
