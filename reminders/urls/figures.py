"""Addresses of the Figures page, under /figures/."""

from django.urls import path

from reminders.views import figures

app_name = "figures"
urlpatterns = [
    path("", figures.show_figures, name="overview"),
    path("<slug:key>.<slug:format>", figures.figure_file, name="file"),
]
