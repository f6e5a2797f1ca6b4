"""Photographs and documents as objects of a bucket."""

import errno
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import Any

from boto3.exceptions import Boto3Error
from botocore.exceptions import BotoCoreError, ClientError
from django.conf import settings
from storages.backends.s3 import S3Storage

from restorer.bucket.address import BucketAddress
from restorer.bucket.client import connection_options


@contextmanager
def as_faults_of_a_disk() -> Iterator[None]:
    """What the rest of the program knows from folders: a file is there or not, or the disk has a
    fault."""
    try:
        yield
    except (BotoCoreError, Boto3Error, ClientError) as fault:
        raise OSError(errno.EHOSTUNREACH, f"The store of files does not answer: {fault}") from fault


class BucketFiles(S3Storage):  # type: ignore[misc] # it has no types
    """A file is read and written whole; none is ever overwritten, none has an address for
    strangers."""

    def __init__(self, address: str) -> None:
        place = BucketAddress.parse(address)
        options = connection_options()
        super().__init__(
            bucket_name=place.bucket,
            location=place.prefix,
            access_key=settings.S3_KEY,
            secret_key=settings.S3_SECRET,
            endpoint_url=options["endpoint_url"],
            region_name=options["region_name"],
            client_config=options["config"],
            file_overwrite=False,
            default_acl=None,
        )

    def _open(self, name: str, mode: str = "rb") -> Any:
        with as_faults_of_a_disk():
            opened = super()._open(name, mode)
            _ = opened.file  # read now, not at the first look into it
            return opened

    def _save(self, name: str, content: Any) -> str:
        with as_faults_of_a_disk():
            return str(super()._save(name, content))

    def delete(self, name: str) -> None:
        with as_faults_of_a_disk():
            super().delete(name)

    def exists(self, name: str) -> bool:
        with as_faults_of_a_disk():
            return bool(super().exists(name))

    def listdir(self, name: str) -> tuple[list[str], list[str]]:
        with as_faults_of_a_disk():
            folders, files = super().listdir(name)
            return folders, files

    def size(self, name: str) -> int:
        with as_faults_of_a_disk():
            return int(super().size(name))

    def get_modified_time(self, name: str) -> datetime:
        with as_faults_of_a_disk():
            changed: datetime = super().get_modified_time(name)
            return changed
