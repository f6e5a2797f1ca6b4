"""The owner's page of backups: what was made and proven, everything as files, and the word that
lets a restored book send again."""

from pathlib import Path
from tempfile import TemporaryFile

from django.conf import settings
from django.contrib import messages
from django.http import FileResponse, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from clients.messaging import outbox
from clients.pages import business_of, business_today, current_user, owner_required
from restorer.backup import BackupError, is_turn_taken, start_backup
from restorer.export import write_zip
from restorer.metrics import find_troubles, read_wellbeing
from restorer.models import BackupRun


@require_GET
@owner_required
def show_backup(request: HttpRequest) -> HttpResponse:
    runs = BackupRun.objects
    now = timezone.now()
    seen = read_wellbeing(now=now)
    proven = runs.newest_proven()
    context = {
        "made": runs.newest_made(),
        "proven": proven,
        "tried": runs.newest_tried(),
        "is_proof_old": bool(proven and proven.is_proof_old(now=now)),
        "seen": seen,
        "is_at_work": is_turn_taken(),
        "troubles": list(find_troubles(seen)),
        "folder": settings.BACKUP_BUCKET or settings.BACKUP_DIR,
        "is_beside_book": is_beside_book(),
    }
    return render(request, "restorer/backup.html", context)


def is_beside_book() -> bool:
    """Whether what takes the book takes its backups too."""
    in_folder = Path(settings.VAR_DIR) in Path(settings.BACKUP_DIR).parents
    return in_folder and not settings.BACKUP_BUCKET


@require_POST
@owner_required
def make_backup(request: HttpRequest) -> HttpResponse:
    try:
        start_backup()
    except BackupError as mistake:
        messages.info(request, str(mistake))
    return redirect("backup")


@require_POST
@owner_required
def release_held_book(request: HttpRequest) -> HttpResponse:
    """Somebody who knows says that no other copy of this book sends."""
    if not business_of(request).sends_nothing:
        messages.info(request, "This book sends already. Nothing was changed.")
        return redirect("backup")
    count = outbox.release_book(by=current_user(request), now=timezone.now())
    messages.success(request, "This book sends again.")
    if count:
        messages.warning(
            request,
            f"{count} message{'' if count == 1 else 's'} waited in the backup and may have gone"
            " out since. Look at each in the outbox: release it, or cancel it.",
        )
    return redirect("backup")


@require_POST
@owner_required
def download_export(request: HttpRequest) -> HttpResponse:
    """Everything as CSV and JSON with the photographs, in one file."""
    file = TemporaryFile()  # noqa: SIM115 - closed once it is sent
    write_zip(file)
    file.seek(0)
    name = f"book-{business_today(request):%Y-%m-%d}.zip"
    return FileResponse(file, as_attachment=True, filename=name)  # type: ignore[return-value]
