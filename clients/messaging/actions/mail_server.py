"""Keeping the mail server that was entered on a page, and what a test found."""

from django.db import transaction

from clients.messaging.models import MailServer
from clients.models import Business


@transaction.atomic
def save_mail_server(*, server: MailServer, password: str) -> None:
    """An empty password keeps the one that is there; without a log-in name there is none. What was
    tested before was another server."""
    if not server.username:
        server.password_sealed = ""
    elif password:
        server.keep_password(password)
    server.pk = 1
    server.save()
    Business.objects.update(mail_tested_with="")


def note_mail_tested(*, business: Business, label: str) -> None:
    """This server has taken a test mail."""
    Business.objects.filter(pk=business.pk).update(mail_tested_with=label)
