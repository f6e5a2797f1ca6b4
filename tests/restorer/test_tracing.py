"""Traces that reach a collector, by the protocol that OpenTelemetry specifies (OTLP/HTTP 1.0)."""

import os
import subprocess
import sys
import threading
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured
from opentelemetry.proto.collector.trace.v1.trace_service_pb2 import ExportTraceServiceRequest
from opentelemetry.proto.trace.v1.trace_pb2 import Span, Status

from restorer.metrics import start_tracing
from tests import database
from tests.factories import BusinessFactory

pytestmark = pytest.mark.django_db(transaction=True)
ROOT = Path(__file__).parents[2]
TRACE = "0af7651916cd43dd8448eb211c80319c"  # the example of W3C Trace Context, 3.2
SOME_REQUESTS = f"""
from django.test import Client
from django_q.signals import post_execute_in_worker, pre_execute
from opentelemetry import trace
from clients.models import Business

browser = Client(raise_request_exception=False)
heads = {{"traceparent": "00-{TRACE}-b7ad6b7169203331-01"}}
browser.get("/o/a-secret-of-a-client/?q=what-was-looked-for", headers=heads)
def a_task():
    Business.objects.filter(name="a name").exists()
pre_execute.send(sender="q", func=a_task, task={{}})
a_task()
post_execute_in_worker.send(sender="q", func=a_task, task={{"success": False}})
Business.objects.count()  # in no request and no task
trace.get_tracer_provider().force_flush()
"""


class Collector(BaseHTTPRequestHandler):
    received: list[bytes]

    def do_POST(self) -> None:
        self.received.append(self.rfile.read(int(self.headers["Content-Length"])))
        self.send_response(200)
        self.end_headers()

    def log_message(self, *words: object) -> None:
        """Nobody reads it."""


def run_some_requests(endpoint: str) -> None:
    traced = {
        "DATABASE_URL": database.url_of_database(),
        "DJANGO_SETTINGS_MODULE": "tests.settings",
        "RESTORER_NO_VENV": "1",
        "ALLOWED_HOSTS": "testserver",
        "OTEL_EXPORTER_OTLP_ENDPOINT": endpoint,
    }
    words = [sys.executable, "manage.py", "shell", "-v0", "-c", SOME_REQUESTS]
    subprocess.run(words, cwd=ROOT, env=os.environ | traced, check=True, timeout=120)


def test_requests_tasks_and_statements_are_told_without_what_they_hold() -> None:
    BusinessFactory()
    received: list[bytes] = []
    handler = type("Kept", (Collector,), {"received": received})
    server = HTTPServer(("127.0.0.1", 0), handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        run_some_requests(f"http://127.0.0.1:{server.server_port}")
    finally:
        server.shutdown()
        server.server_close()

    batches = [ExportTraceServiceRequest.FromString(body) for body in received]
    resources = [resource for batch in batches for resource in batch.resource_spans]
    spans = [span for each in resources for scope in each.scope_spans for span in scope.spans]
    named = {span.name: span for span in spans}
    request = named["GET o/<str:token>/"]
    task = next(span for name, span in named.items() if name.endswith(".a_task"))
    assert {each.key: each.value.string_value for each in resources[0].resource.attributes}[
        "service.name"
    ] == "restorer"
    assert request.kind == Span.SPAN_KIND_SERVER
    assert request.trace_id.hex() == TRACE
    assert {each.key: each.value.int_value for each in request.attributes}[
        "http.response.status_code"
    ] == 404
    assert task.status.code == Status.STATUS_CODE_ERROR
    statements = [span for span in spans if span.name == "SELECT"]
    assert {span.parent_span_id for span in statements} == {request.span_id, task.span_id}
    everything = b"".join(received)
    for secret in (b"a-secret", b"what-was-looked-for", b"a name"):
        assert secret not in everything


def test_who_sends_no_traces_loads_nothing_of_them() -> None:
    words = "import sys; sys.exit('opentelemetry' in sys.modules)"
    command = [sys.executable, "manage.py", "shell", "-v0", "-c", words]
    environment = os.environ | {"RESTORER_NO_VENV": "1", "DJANGO_SETTINGS_MODULE": "tests.settings"}
    environment.pop("OTEL_EXPORTER_OTLP_ENDPOINT", None)
    assert subprocess.run(command, cwd=ROOT, env=environment, check=False).returncode == 0


def test_a_missing_library_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "opentelemetry", None)
    monkeypatch.delitem(sys.modules, "restorer.metrics.tracing", raising=False)

    with pytest.raises(ImproperlyConfigured, match="opentelemetry is not installed"):
        start_tracing()
