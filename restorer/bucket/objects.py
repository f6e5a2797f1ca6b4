"""Whole files of this machine to and from a bucket: backups."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import boto3
from boto3.exceptions import Boto3Error
from botocore.exceptions import BotoCoreError, ClientError
from django.conf import settings

from restorer.bucket.address import BucketAddress, BucketError
from restorer.bucket.client import connection_options


class Bucket:
    """The objects that stand right under one address. An object is there whole or not at all."""

    def __init__(self, place: BucketAddress) -> None:
        self.place = place
        self.client: Any = boto3.client(
            "s3",
            aws_access_key_id=settings.S3_KEY,
            aws_secret_access_key=settings.S3_SECRET,
            **connection_options(),
        )

    def names(self) -> list[str]:
        start = self.place.key("")
        with self.asked("cannot be listed"):
            pages = self.client.get_paginator("list_objects_v2").paginate(
                Bucket=self.place.bucket, Prefix=start, Delimiter="/"
            )
            keys = [row["Key"] for page in pages for row in page.get("Contents", [])]
        return sorted(name for key in keys if (name := key.removeprefix(start)))

    def put(self, path: Path, name: str) -> None:
        with self.asked(f"does not take {name}"):
            self.client.upload_file(str(path), self.place.bucket, self.place.key(name))

    def fetch(self, name: str, into: Path) -> None:
        with self.asked(f"does not give {name}"):
            self.client.download_file(self.place.bucket, self.place.key(name), str(into))

    def delete(self, name: str) -> None:
        with self.asked(f"does not delete {name}"):
            self.client.delete_object(Bucket=self.place.bucket, Key=self.place.key(name))

    def address(self, name: str) -> str:
        return str(BucketAddress(self.place.bucket, self.place.key(name)))

    @contextmanager
    def asked(self, what: str) -> Iterator[None]:
        try:
            yield
        except (BotoCoreError, Boto3Error, ClientError, OSError) as fault:
            raise BucketError(f"{self.place} {what}: {fault}") from fault
