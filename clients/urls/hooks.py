"""Addresses that gateways call, under /hooks/."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
