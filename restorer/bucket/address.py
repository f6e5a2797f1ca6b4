"""Where something lies in a bucket: s3://BUCKET/PREFIX."""

import re
from dataclasses import dataclass

SCHEME = "s3://"
ADDRESS = re.compile(r"s3://(?P<bucket>[a-z0-9][a-z0-9.-]{1,61}[a-z0-9])(?:/(?P<prefix>.*))?")


class BucketError(RuntimeError):
    """No bucket, or the store refused or did not answer; the message says what was wanted, and why
    not."""


@dataclass(frozen=True)
class BucketAddress:
    """A bucket, and in it a prefix or the key of one object; without slashes at its ends."""

    bucket: str
    prefix: str

    @classmethod
    def parse(cls, text: str) -> "BucketAddress":
        """Raises `BucketError`."""
        found = ADDRESS.fullmatch(text)
        if not found:
            raise BucketError(f"“{text}” is no bucket. Write s3://BUCKET/PREFIX.")
        return cls(found["bucket"], (found["prefix"] or "").strip("/"))

    def __str__(self) -> str:
        return f"{SCHEME}{self.bucket}/{self.prefix}".rstrip("/")

    def key(self, name: str) -> str:
        return f"{self.prefix}/{name}" if self.prefix else name

    @property
    def folder_and_name(self) -> tuple["BucketAddress", str]:
        """Of one object."""
        prefix, _, name = self.prefix.rpartition("/")
        return BucketAddress(self.bucket, prefix), name


def is_bucket(text: object) -> bool:
    return str(text).startswith(SCHEME)
