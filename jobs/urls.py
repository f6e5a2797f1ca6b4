"""Addresses of jobs and products, under /jobs/."""

from django.urls import URLPattern

app_name = "jobs"
urlpatterns: list[URLPattern] = []
