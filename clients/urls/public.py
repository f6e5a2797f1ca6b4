"""Addresses outside any section: signing in, the first visit, and leaving the mailing list."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
