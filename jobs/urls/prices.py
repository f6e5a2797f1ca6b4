"""Addresses of price lists, packs and tins, under /settings/prices/."""

from django.urls import URLPattern

app_name = "prices"
urlpatterns: list[URLPattern] = []
