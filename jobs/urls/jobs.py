"""Addresses of jobs and products, under /jobs/."""

from django.urls import path

from jobs.views import care, jobs, log, photos, products, scope, shelf, sign_off, visits

app_name = "jobs"
urlpatterns = [
    path("log/", log.log, name="log"),
    path("visit/", visits.visit, name="visit"),
    path("visit/<int:pk>/edit/", visits.visit_edit, name="visit_edit"),
    path("to-buy/", scope.to_buy, name="to_buy"),
    path("scope/<int:deck_id>/", scope.scope, name="scope"),
    path("<int:pk>/", jobs.detail, name="detail"),
    path("<int:pk>/edit/", jobs.edit, name="edit"),
    path("<int:pk>/remove/", jobs.remove, name="remove"),
    path("<int:pk>/sign-off/", sign_off.sign_off, name="sign_off"),
    path("<int:pk>/care.pdf", care.record, name="care_record"),
    path("<int:pk>/care/send/", care.send, name="care_send"),
    path("<int:pk>/photos/", photos.photos_add, name="photos_add"),
    path("photos/<int:pk>/", photos.photo, name="photo"),
    path("photos/<int:pk>/change/", photos.photo_change, name="photo_change"),
    path("products/", products.products, name="products"),
    path("products/new/", products.product_new, name="product_new"),
    path("products/<int:pk>/edit/", products.product_edit, name="product_edit"),
    path("products/<int:pk>/shelf/", shelf.shelf, name="shelf"),
    path("products/<int:pk>/tins/", shelf.tin_add, name="tin_add"),
    path("products/<int:pk>/packs/", shelf.pack_add, name="pack_add"),
    path("tins/<int:pk>/", shelf.tin_change, name="tin_change"),
    path("packs/<int:pk>/", shelf.pack_change, name="pack_change"),
    path("batches/<int:pk>/", products.batch, name="batch"),
]
