"""Addresses of offers, under /offers/."""

from django.urls import path

from jobs.views import offer_actions, offer_sending, offers

app_name = "offers"
urlpatterns = [
    path("", offers.list_offers, name="list"),
    path("send/", offer_sending.send_chosen_offers, name="send_chosen"),
    path("<int:pk>/", offers.show_offer, name="detail"),
    path("<int:pk>/send/", offer_sending.send_one_offer, name="send"),
    path("<int:pk>/revise/", offer_actions.offer_revise, name="revise"),
    path("<int:pk>/change/", offer_actions.offer_change_order, name="change"),
    path("<int:pk>/withdraw/", offer_actions.offer_withdraw, name="withdraw"),
    path("<int:pk>/answer/", offer_actions.offer_answer, name="answer"),
    path("<int:pk>/pdf/", offer_actions.show_offer_pdf, name="pdf"),
]
