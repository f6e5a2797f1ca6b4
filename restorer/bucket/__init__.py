"""A bucket of a store that speaks the S3 protocol, in the place of a folder: for the photographs
and documents (MEDIA_ROOT, `restorer.bucket.files`) and for backups (BACKUP_DIR). Its libraries are
optional: nothing here loads them before a bucket is opened."""

from typing import TYPE_CHECKING

from restorer.bucket.address import BucketAddress, BucketError, is_bucket

if TYPE_CHECKING:
    from restorer.bucket.objects import Bucket

__all__ = ["BucketAddress", "BucketError", "is_bucket", "open_bucket"]


def open_bucket(place: BucketAddress) -> "Bucket":
    """Raises `BucketError` where the libraries are missing."""
    try:
        from restorer.bucket.objects import Bucket
    except ImportError as error:
        raise BucketError(f"{place} needs libraries that are not installed: {error}.") from error
    return Bucket(place)
