"""Addresses that gateways call, under /hooks/. No slash at the end:
a redirect would lose the post."""

from django.urls import path

from clients.messaging.views import hooks, mail_service

urlpatterns = [
    path("text/<str:secret>/status", hooks.text_status, name="text_status"),
    path("text/<str:secret>/inbound", hooks.text_inbound, name="text_inbound"),
    path("mail/<str:service>", mail_service.mail_reports, name="mail_reports"),
]
