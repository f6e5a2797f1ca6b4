"""Addresses of price lists, under /settings/prices/."""

from django.urls import path

from jobs.views import prices

app_name = "prices"
urlpatterns = [
    path("", prices.price_lists, name="list"),
    path("new/", prices.new, name="new"),
    path("<int:pk>/", prices.detail, name="detail"),
    path("<int:pk>/change/", prices.change, name="change"),
    path("<int:pk>/remove/", prices.remove, name="remove"),
]
