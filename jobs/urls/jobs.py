"""Addresses of jobs and products, under /jobs/."""

from django.urls import path

from jobs.views import (
    care,
    deck_checks,
    erasing,
    jobs,
    log,
    moving,
    photos,
    products,
    scope,
    shelf,
    sign_off,
    tracing,
)

app_name = "jobs"
urlpatterns = [
    path("log/", log.log_job_page, name="log"),
    path("visit/", deck_checks.new_check, name="visit"),
    path("visit/<int:pk>/edit/", deck_checks.edit_check, name="visit_edit"),
    path("to-buy/", scope.show_to_buy, name="to_buy"),
    path("scope/<int:deck_id>/", scope.show_scope, name="scope"),
    path("<int:pk>/", jobs.show_job, name="detail"),
    path("<int:pk>/edit/", jobs.edit_job, name="edit"),
    path("<int:pk>/remove/", jobs.job_remove, name="remove"),
    path("<int:pk>/sign-off/", sign_off.job_sign_off, name="sign_off"),
    path("<int:pk>/care.pdf", care.show_care_record, name="care_record"),
    path("<int:pk>/care/send/", care.care_record_send, name="care_send"),
    path("<int:pk>/photos/", photos.photos_add, name="photos_add"),
    path("photos/of-form/", photos.form_photo, name="form_photo"),
    path("photos/<int:pk>/", photos.show_photo, name="photo"),
    path("photos/<int:pk>/change/", photos.photo_change, name="photo_change"),
    path("erase/<int:pk>/", erasing.erase_person, name="erase"),
    path("erasures/", erasing.list_erasures, name="erasures"),
    path("sold/<int:pk>/", moving.property_sold, name="sold"),
    path("move-deck/<int:pk>/", moving.deck_elsewhere, name="move_deck"),
    path("products/", products.list_products, name="products"),
    path("products/new/", products.new_product, name="product_new"),
    path("products/<int:pk>/edit/", products.edit_product, name="product_edit"),
    path("products/<int:pk>/shelf/", shelf.show_shelf, name="shelf"),
    path("products/<int:pk>/tins/", shelf.tin_add, name="tin_add"),
    path("products/<int:pk>/packs/", shelf.pack_add, name="pack_add"),
    path("tins/<int:pk>/", shelf.tin_change, name="tin_change"),
    path("packs/<int:pk>/", shelf.pack_change, name="pack_change"),
    path("batches/<int:pk>/", tracing.show_batch_trace, name="batch"),
    path("trace/", tracing.show_trace, name="trace"),
    path("trace/recall/", tracing.recall_clients, name="recall"),
]
