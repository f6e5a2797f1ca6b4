"""Addresses of texts and of the law table, under /settings/."""

from django.urls import path

from clients.messaging.views import law, sending_domain, texts

app_name = "speech"
urlpatterns = [
    path("texts/", texts.text_list, name="texts"),
    path("texts/<slug:purpose>/<slug:channel>/<str:language>/", texts.edit_text, name="text"),
    path(
        "texts/<slug:purpose>/<slug:channel>/<str:language>/reset/",
        texts.text_reset,
        name="text_reset",
    ),
    path(
        "texts/<slug:purpose>/<slug:channel>/<str:language>/as-html/",
        texts.show_text_html,
        name="text_look",
    ),
    path("domain/", sending_domain.show_domain, name="domain"),
    path("law/", law.show_law, name="law"),
    path("law/<int:pk>/drop/", law.law_drop, name="law_drop"),
    path("law/<slug:jurisdiction>/<slug:medium>/", law.law_rule, name="law_rule"),
]
