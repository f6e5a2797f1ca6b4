"""One include a section; each section keeps its own list."""

from django.conf import settings
from django.urls import include, path

from restorer.api import other_urls, program_urls
from restorer.views import backup, errors, health, one_client, phone, programs, webhooks

urlpatterns = [
    path("", include("reminders.urls.today")),
    path("worker.js", phone.show_worker, name="phone_worker"),
    path("phone/app.webmanifest", phone.show_manifest, name="phone_manifest"),
    path("phone/token/", phone.tell_token, name="phone_token"),
    path("phone/day/", phone.list_day_pages, name="phone_day"),
    path("phone/offline/", phone.show_without_signal, name="phone_offline"),
    path("phone/parts/<str:sha256>/", phone.take_upload_part, name="phone_parts"),
    path("health/", health.show_health, name="health"),
    path("metrics", health.show_metrics, name="metrics"),
    path("", include("clients.urls.public")),
    path("clients/<int:pk>/everything.json", one_client.all_as_json, name="client_json"),
    path("clients/<int:pk>/everything.pdf", one_client.all_as_pdf, name="client_paper"),
    path("clients/", include("reminders.urls.clients")),
    path("decks/", include("clients.urls.deck_forms")),
    path("decks/", include("reminders.urls.decks")),
    path("", include("jobs.urls.public")),
    path("", include("reminders.urls.public")),
    path("api/v1/", include(program_urls())),
    path("api/", include(other_urls())),
    path("hooks/", include("clients.messaging.urls.hooks")),
    path("jobs/", include("jobs.urls.jobs")),
    path("offers/", include("jobs.urls.offers")),
    path("diary/", include("jobs.urls.diary")),
    path("pacing/", include("reminders.urls.pacing")),
    path("reminders/", include("reminders.urls.steps")),
    path("due/", include("reminders.urls.due")),
    path("figures/", include("reminders.urls.figures")),
    path("outbox/", include("clients.messaging.urls.channels")),
    path("outbox/", include("clients.messaging.urls.outbox")),
    path("settings/", include("clients.urls.settings")),
    path("settings/", include("clients.messaging.urls.texts")),
    path("settings/backup/", backup.show_backup, name="backup"),
    path("settings/backup/now/", backup.make_backup, name="backup_now"),
    path("settings/backup/release/", backup.release_held_book, name="backup_release"),
    path("settings/backup/export/", backup.download_export, name="backup_export"),
    path("settings/programs/", programs.show_programs, name="programs"),
    path("settings/programs/new/", programs.add_program, name="program_add"),
    path("settings/programs/told/", webhooks.list_webhooks, name="webhooks"),
    path("settings/programs/told/new/", webhooks.add_webhook, name="webhook_add"),
    path("settings/programs/told/<int:pk>/", webhooks.show_webhook, name="webhook"),
    path("settings/programs/told/<int:pk>/edit/", webhooks.edit_webhook, name="webhook_edit"),
    path("settings/programs/posts/<int:pk>/", webhooks.repeat_webhook_post, name="webhook_repeat"),
    path("settings/programs/<int:pk>/end/", programs.end_program, name="program_end"),
    path("settings/prices/", include("jobs.urls.prices")),
    path("settings/lists/", include("jobs.urls.lists")),
]
handler400 = "restorer.views.errors.bad_request"
handler403 = "restorer.views.errors.forbidden"
handler404 = "restorer.views.errors.not_found"
handler500 = "restorer.views.errors.server_error"
if settings.DEBUG:
    urlpatterns.append(path("parts/", errors.show_style_samples, name="parts"))
