"""How the store is reached: by S3_ENDPOINT, S3_KEY, S3_SECRET and S3_REGION."""

from typing import Any

from botocore.config import Config
from django.conf import settings

CONNECT_SECONDS = 10
READ_SECONDS = 60
TRIES = 4


def connection_options() -> dict[str, Any]:
    """As boto3 takes them. The name of the bucket stands in the path, as small stores want it;
    checksums that only some stores know are left out."""
    config = Config(
        signature_version="s3v4",
        connect_timeout=CONNECT_SECONDS,
        read_timeout=READ_SECONDS,
        retries={"max_attempts": TRIES, "mode": "standard"},
        s3={"addressing_style": "path"},
        request_checksum_calculation="when_required",
        response_checksum_validation="when_required",
    )
    return {
        "endpoint_url": settings.S3_ENDPOINT,
        "region_name": settings.S3_REGION,
        "config": config,
    }
