"""A form with files that broke off on its way is refused: Django's reader keeps the fields before
the break and drops the rest without a word."""

from typing import Any

from django.core.files.uploadhandler import FileUploadHandler
from django.http.multipartparser import MultiPartParserError

TAIL_BYTES = 1024  # more than a boundary (70 at most: RFC 2046, 5.1.1) and what may follow it


class UnfinishedFormError(MultiPartParserError):
    """The body ends before its last boundary, or before its stated length."""


class WatchedReader:
    """Reads on behalf of a request, and knows how much came and how it ended."""

    def __init__(self, source: Any) -> None:
        self.read_on = source.read
        self.count = 0
        self.tail = b""

    def read(self, *args: int) -> bytes:
        part: bytes = self.read_on(*args)
        self.count += len(part)
        self.tail = (self.tail + part)[-TAIL_BYTES:]
        return part


class WholeUploadHandler(FileUploadHandler):
    """The first of the upload handlers; keeps nothing, looks whether the body is whole."""

    def handle_raw_input(
        self,
        input_data: Any,
        META: dict[str, Any],  # noqa: N803 - Django's name
        content_length: int,
        boundary: Any,
        encoding: str | None = None,
    ) -> None:
        self.expected = content_length
        self.last_line = b"--" + boundary + b"--"
        self.reader = WatchedReader(input_data)
        input_data.read = self.reader.read

    def receive_data_chunk(self, raw_data: bytes, start: int) -> bytes:
        return raw_data

    def file_complete(self, file_size: int) -> None:
        return None

    def upload_complete(self) -> None:
        """Raises `UnfinishedFormError`."""
        if self.reader.count < self.expected or self.last_line not in self.reader.tail:
            raise UnfinishedFormError("The form broke off on its way.")
