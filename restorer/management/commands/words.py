"""`manage.py words`: bring the catalogues of translated words up to date and compile them (for
developers)."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from clients.messaging.texts import missing_texts
from restorer import catalogue


class Command(BaseCommand):
    help = (
        "Gather the words that clients read into the catalogues, compile these, and say what is not"
        " translated."
    )
    requires_system_checks: list[str] = []

    def handle(self, *args: Any, **options: Any) -> None:
        marked = catalogue.marked_messages()
        lacking = 0
        for language in catalogue.translated_languages():
            words = catalogue.updated_catalogue(language, marked)
            path = catalogue.catalogue_path(language)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(catalogue.catalogue_as_po(words))
            path.with_suffix(".mo").write_bytes(
                catalogue.catalogue_as_mo(catalogue.read_catalogue(language))
            )
            missing = catalogue.untranslated_messages(words)
            lacking += len(missing)
            self.stdout.write(f"{language}: {len(words)} messages, {len(missing)} not translated")
            for message in missing:
                self.stdout.write(f"  {message.id}")
        if lacking:
            raise CommandError("Translate them in restorer/locale/, then run this again.")
        if texts := missing_texts():
            raise CommandError(
                f"Write in clients/messaging/texts/standard.toml: {', '.join(texts)}"
            )
