"""The rows of the whole installation: backups, programs that read and write the book,
and addresses that are told of what happens."""

from restorer.models.backups import BackupRun, say_missing_files
from restorer.models.programs import ApiToken, KeptAnswer
from restorer.models.webhooks import Webhook, WebhookAttempt, WebhookPost

__all__ = [
    "ApiToken",
    "BackupRun",
    "KeptAnswer",
    "Webhook",
    "WebhookAttempt",
    "WebhookPost",
    "say_missing_files",
]
