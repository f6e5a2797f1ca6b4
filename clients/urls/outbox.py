"""Addresses of the outbox, under /outbox/."""

from django.urls import path

from clients.views import outbox

app_name = "outbox"
urlpatterns = [
    path("", outbox.outbox_list, name="list"),
    path("<int:pk>/", outbox.outbox_detail, name="detail"),
    path("<int:pk>/<slug:deed>/", outbox.outbox_act, name="act"),
]
