"""Addresses that clients open without signing in: an offer, and calendar feeds."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
