"""Addresses of offers, under /offers/."""

from django.urls import path

from jobs.views import offer_deeds, offers

app_name = "offers"
urlpatterns = [
    path("", offers.offer_list, name="list"),
    path("send/", offer_deeds.send_chosen, name="send_chosen"),
    path("<int:pk>/", offers.detail, name="detail"),
    path("<int:pk>/send/", offer_deeds.send, name="send"),
    path("<int:pk>/revise/", offer_deeds.revise, name="revise"),
    path("<int:pk>/withdraw/", offer_deeds.withdraw, name="withdraw"),
    path("<int:pk>/answer/", offer_deeds.answer, name="answer"),
    path("<int:pk>/pdf/", offer_deeds.pdf, name="pdf"),
]
