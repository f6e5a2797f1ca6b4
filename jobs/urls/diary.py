"""Addresses of the diary, its crews and bookings, under /diary/."""

from django.urls import path

from jobs.views import bookings, crews, diary

app_name = "diary"
urlpatterns = [
    path("", diary.week, name="week"),
    path("hold-day/", diary.hold_day, name="hold_day"),
    path("new/", bookings.new, name="new"),
    path("<int:pk>/", bookings.booking, name="booking"),
    path("<int:pk>/move/", bookings.move, name="move"),
    path("<int:pk>/notes/", bookings.notes, name="notes"),
    path("<int:pk>/arrival/", bookings.arrival, name="arrival"),
    path("<int:pk>/hold/", bookings.hold, name="hold"),
    path("<int:pk>/release/", bookings.release, name="release"),
    path("<int:pk>/call-off/", bookings.call_off, name="call_off"),
    path("<int:pk>/visit.ics", bookings.calendar_file, name="calendar_file"),
    path("crews/", crews.crews, name="crews"),
    path("crews/new/", crews.crew_new, name="crew_new"),
    path("crews/<int:pk>/", crews.crew_edit, name="crew_edit"),
    path("crews/<int:pk>/calendar/", crews.crew_feed, name="crew_feed"),
    path("days-off/", crews.day_off_add, name="day_off_add"),
    path("days-off/<int:pk>/remove/", crews.day_off_remove, name="day_off_remove"),
]
