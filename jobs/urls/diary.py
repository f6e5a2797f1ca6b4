"""Addresses of the diary, its crews and bookings, under /diary/."""

from django.urls import path

from jobs.views import bookings, crews, diary, next_visit, on_the_way

app_name = "diary"
urlpatterns = [
    path("", diary.show_week, name="week"),
    path("hold-day/", diary.day_hold, name="hold_day"),
    path("day-sheet/<int:pk>/", diary.show_day_sheet, name="day_sheet"),
    path("new/", bookings.new_booking, name="new"),
    path("<int:pk>/", bookings.show_booking, name="booking"),
    path("<int:pk>/move/", bookings.booking_move, name="move"),
    path("<int:pk>/notes/", bookings.booking_notes, name="notes"),
    path("<int:pk>/arrival/", bookings.press_booking_button, {"button": "arrival"}, "arrival"),
    path("<int:pk>/hold/", bookings.press_booking_button, {"button": "hold"}, "hold"),
    path("<int:pk>/release/", bookings.press_booking_button, {"button": "release"}, "release"),
    path("<int:pk>/call-off/", bookings.press_booking_button, {"button": "call_off"}, "call_off"),
    path("<int:pk>/tell/", bookings.tell_client, name="tell"),
    path("<int:pk>/next-visit/", next_visit.next_visit, name="next_visit"),
    path("<int:pk>/on-the-way/", on_the_way.on_the_way, name="on_the_way"),
    path("<int:pk>/visit.ics", bookings.booking_calendar_file, name="calendar_file"),
    path("crews/", crews.list_crews, name="crews"),
    path("crews/new/", crews.new_crew, name="crew_new"),
    path("crews/<int:pk>/", crews.edit_crew, name="crew_edit"),
    path("crews/<int:pk>/calendar/", crews.crew_feed, name="crew_feed"),
    path("days-off/", crews.day_off_add, name="day_off_add"),
    path("days-off/<int:pk>/remove/", crews.day_off_remove, name="day_off_remove"),
]
