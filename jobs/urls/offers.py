"""Addresses of offers, under /offers/."""

from django.urls import URLPattern

app_name = "offers"
urlpatterns: list[URLPattern] = []
