"""Addresses of client, property and contact pages, under /clients/."""

from django.urls import URLPattern

app_name = "clients"
urlpatterns: list[URLPattern] = []
