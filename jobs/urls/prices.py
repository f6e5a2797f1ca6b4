"""Addresses of price lists, under /settings/prices/."""

from django.urls import path

from jobs.views import prices

app_name = "prices"
urlpatterns = [
    path("", prices.list_price_lists, name="list"),
    path("terms/", prices.edit_offer_terms, name="terms"),
    path("new/", prices.price_list_new, name="new"),
    path("<int:pk>/", prices.show_price_list, name="detail"),
    path("<int:pk>/change/", prices.edit_price_list, name="change"),
    path("<int:pk>/remove/", prices.price_list_remove, name="remove"),
]
