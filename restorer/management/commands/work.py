"""`manage.py work`: the task worker for a service manager, restarted when it hangs and ended in
good order."""

from typing import Any

from django.db import connections

from clients.management.opening import BookCommand
from restorer.local import processes
from restorer.management.commands.serve import worker_age


class Command(BookCommand):
    waits_for_database = True
    help = (
        "Run the task worker (qcluster) and restart it when it dies or its heartbeat stops. SIGTERM"
        " ends it."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        connections.close_all()
        processes.Supervisor([processes.worker_process()], worker_age=worker_age).run()
