"""Addresses of the outbox, under /outbox/."""

from django.urls import path

from clients.messaging.views import confirm, outbox, to_dos

app_name = "outbox"
urlpatterns = [
    path("", outbox.outbox_list, name="list"),
    path("texts/", outbox.show_text_costs, name="texts"),
    path("to-do/<int:pk>/settled/", to_dos.to_do_done, name="to_do_done"),
    path("sent/<int:pk>/take-back/", confirm.take_back, name="take_back"),
    path("<int:pk>/", outbox.outbox_detail, name="detail"),
    path("<int:pk>/<slug:action>/", outbox.outbox_act, name="act"),
]
