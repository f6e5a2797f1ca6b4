"""Traces by OpenTelemetry of requests, of the worker's tasks and of the statements in them.

A span is named by the route or the task, never by an address, which may hold a secret; a statement
is told with its placeholders, never with values. Names of attributes are those of OpenTelemetry's
semantic conventions for HTTP and databases.
"""

import os
from collections.abc import Callable
from contextlib import ExitStack
from typing import Any

from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.backends.signals import connection_created
from django.http import HttpRequest, HttpResponse
from django_q.signals import post_execute_in_worker, pre_execute
from opentelemetry import trace
from opentelemetry.exporter.otlp.proto.http.trace_exporter import OTLPSpanExporter
from opentelemetry.sdk.resources import SERVICE_NAME, Resource
from opentelemetry.sdk.trace import TracerProvider
from opentelemetry.sdk.trace.export import BatchSpanProcessor
from opentelemetry.trace import SpanKind, StatusCode
from opentelemetry.trace.propagation.tracecontext import TraceContextTextMapPropagator

from restorer.metrics.request_times import route_of

MAX_STATEMENT = 1000  # characters
tracer = trace.get_tracer("restorer")
task_in_hand = ExitStack()  # a worker has one at a time


def start() -> None:
    """Spans leave in batches, by a thread of their own; a fork has one of its own too."""
    named = {} if os.environ.get("OTEL_SERVICE_NAME") else {SERVICE_NAME: "restorer"}
    provider = TracerProvider(resource=Resource.create(named))
    provider.add_span_processor(BatchSpanProcessor(OTLPSpanExporter()))
    trace.set_tracer_provider(provider)
    connection_created.connect(trace_connection)
    pre_execute.connect(begin_task)
    post_execute_in_worker.connect(end_task)


class TracingMiddleware:
    """One span a request; it goes on with the trace that a proxy began (W3C Trace Context)."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        heads = {name.lower(): value for name, value in request.headers.items()}
        began = TraceContextTextMapPropagator().extract(heads)
        method = request.method or ""
        with tracer.start_as_current_span(method, context=began, kind=SpanKind.SERVER) as span:
            answer = self.get_response(request)
            span.update_name(f"{method} {route_of(request)}")
            span.set_attribute("http.request.method", method)
            span.set_attribute("http.route", route_of(request))
            span.set_attribute("http.response.status_code", answer.status_code)
            if answer.status_code >= 500:
                span.set_status(StatusCode.ERROR)
        return answer


def trace_connection(connection: BaseDatabaseWrapper, **signal: Any) -> None:
    if trace_statement not in connection.execute_wrappers:
        connection.execute_wrappers.append(trace_statement)


def trace_statement(execute: Callable[..., Any], sql: Any, *rest: Any) -> Any:
    """Only within a request or a task: what waits in a loop asks all day."""
    if not trace.get_current_span().is_recording():
        return execute(sql, *rest)
    text = sql if isinstance(sql, str) else ""  # what was composed holds its values
    told = {"db.system.name": "postgresql", "db.query.text": text[:MAX_STATEMENT]}
    name = text.split(maxsplit=1)[0] if text else "statement"
    with tracer.start_as_current_span(name, kind=SpanKind.CLIENT, attributes=told):
        return execute(sql, *rest)


def begin_task(func: Callable[..., Any], **signal: Any) -> None:
    task_in_hand.close()
    name = f"{func.__module__}.{func.__qualname__}"
    task_in_hand.enter_context(tracer.start_as_current_span(name, kind=SpanKind.CONSUMER))


def end_task(task: dict[str, Any], **signal: Any) -> None:
    if not task.get("success"):
        trace.get_current_span().set_status(StatusCode.ERROR)
    task_in_hand.close()
