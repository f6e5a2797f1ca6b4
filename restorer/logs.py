"""Lines of the log, as text or JSON, without the secret parts of addresses: whoever reads a log
must not be able to answer an offer or post to a hook."""

import json
import logging
import re
from datetime import UTC, datetime

# offers, client pages, unsubscribing, calendars: everything behind the first part; hooks: the
# third, behind the name of what posts; links that set a password
SECRET_PATH = re.compile(
    r"/(?P<page>[oup]|calendar|hooks/text|sign-in/new-password)/(?P<secret>[^/\s'\"?]+)"
)


def without_secrets(line: str) -> str:
    return SECRET_PATH.sub(lambda found: f"/{found['page']}/…", line)


class TextFormatter(logging.Formatter):
    """Moment, level, logger, message; a traceback below it."""

    def __init__(self) -> None:
        super().__init__("{asctime} {levelname} {name} {message}", style="{")

    def format(self, record: logging.LogRecord) -> str:
        return without_secrets(super().format(record))


class JsonFormatter(logging.Formatter):
    """One object a line: `time` (UTC, ISO 8601), `level`, `logger`, `message`, `traceback`."""

    def format(self, record: logging.LogRecord) -> str:
        moment = datetime.fromtimestamp(record.created, UTC)
        line = {
            "time": moment.isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "logger": record.name,
            "message": without_secrets(record.getMessage()),
        }
        if record.exc_info:
            line["traceback"] = without_secrets(self.formatException(record.exc_info))
        return json.dumps(line, ensure_ascii=False)
