"""Addresses of the diary, its crews and bookings, under /diary/."""

from django.urls import URLPattern

app_name = "diary"
urlpatterns: list[URLPattern] = []
