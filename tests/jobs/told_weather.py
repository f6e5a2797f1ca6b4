"""A weather service for tests: answers in the documented format, of invented hours, by a real
server of this machine."""

import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

LUNENBURG = (44.38, -64.31)  # where PropertyFactory puts a property
UNITS = {"air_temperature": "celsius", "relative_humidity": "%", "precipitation_amount": "mm"}
HOUR = timedelta(hours=1)


def told(
    begins: datetime,
    *,
    air: Callable[[datetime], float] = lambda at: 15.0,
    rain: Callable[[datetime], float] = lambda at: 0.0,
    humidity: float = 60.0,
    hourly: int = 60,
    place: tuple[float, float] = LUNENBURG,
) -> dict[str, Any]:
    """Ten days: so many hours one by one, then every six; `rain` is mm an hour at that hour."""
    begins = begins.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    moments = []
    for hour in range(hourly):
        at = begins + hour * HOUR
        moments.append(moment(at, air(at), humidity, next_1_hours=rain(at)))
    for six in range(30):
        at = begins + (hourly + 6 * six) * HOUR
        amount = sum(rain(at + hour * HOUR) for hour in range(6))
        moments.append(moment(at, air(at), humidity, next_6_hours=amount))
    moments.append(moment(begins + (hourly + 180) * HOUR, 10.0, humidity))
    latitude, longitude = place
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [longitude, latitude, 12]},
        "properties": {
            "meta": {"updated_at": begins.isoformat(), "units": UNITS},
            "timeseries": moments,
        },
    }


def moment(at: datetime, air_c: float, humidity: float, **rain: float) -> dict[str, Any]:
    details = {"air_temperature": air_c, "relative_humidity": humidity, "wind_speed": 3.1}
    periods = {name: {"details": {"precipitation_amount": mm}} for name, mm in rain.items()}
    written = at.isoformat().replace("+00:00", "Z")
    return {"time": written, "data": {"instant": {"details": details}, **periods}}


def rain_from(hour: datetime, hours: int = 3, mm: float = 1.0) -> Callable[[datetime], float]:
    """So much an hour for so many hours."""
    return lambda at: mm if hour <= at < hour + hours * HOUR else 0.0


@dataclass
class Answer:
    content: bytes = b""
    status: int = 200
    heads: dict[str, str] = field(default_factory=dict)


class WeatherService(HTTPServer):
    """Answers as `answers` says for a latitude, else as `usual`; keeps what it was asked."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Telling)
        self.usual = Answer(status=404)
        self.answers: dict[str, Answer] = {}
        self.asked: list[tuple[dict[str, str], dict[str, str]]] = []

    @property
    def address(self) -> str:
        return f"http://localhost:{self.server_port}/compact?lat={{lat}}&lon={{lon}}"

    def tells(self, forecast: dict[str, Any], **heads: str) -> None:
        self.usual = Answer(json.dumps(forecast).encode(), heads=heads)


class Telling(BaseHTTPRequestHandler):
    server: WeatherService

    def do_GET(self) -> None:
        query = {name: values[0] for name, values in parse_qs(urlsplit(self.path).query).items()}
        self.server.asked.append(
            (query, {name.lower(): value for name, value in self.headers.items()})
        )
        answer = self.server.answers.get(query.get("lat", ""), self.server.usual)
        self.send_response(answer.status)
        for name, value in answer.heads.items():
            self.send_header(name.replace("_", "-"), value)
        self.send_header("Content-Length", str(len(answer.content)))
        self.end_headers()
        self.wfile.write(answer.content)

    def log_message(self, format: str, *args: Any) -> None:
        pass


@contextmanager
def running_service() -> Iterator[WeatherService]:
    server = WeatherService()
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield server
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
