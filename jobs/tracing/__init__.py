"""Where a product went: the trace of a batch, a product or a time, and telling exactly those."""

from jobs.tracing.recall import (
    MAX_RECALLED,
    RecallCandidate,
    RecallPlan,
    plan_recall,
    recall_fields,
    recall_key,
)
from jobs.tracing.trace import (
    TRACE_COLUMNS,
    ProductTrace,
    TraceFacts,
    coats_without_batch,
    trace_facts,
    trace_rows,
)

__all__ = [
    "MAX_RECALLED",
    "TRACE_COLUMNS",
    "ProductTrace",
    "RecallCandidate",
    "RecallPlan",
    "TraceFacts",
    "coats_without_batch",
    "plan_recall",
    "recall_fields",
    "recall_key",
    "trace_facts",
    "trace_rows",
]
