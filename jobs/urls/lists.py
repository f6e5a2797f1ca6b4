"""Addresses of lists that are brought in, under /settings/lists/."""

from django.urls import path

from jobs.views import lists

app_name = "lists"
urlpatterns = [
    path("", lists.choose_list, name="choose"),
    path("<int:pk>/", lists.show_list, name="detail"),
    path("<int:pk>/undo/", lists.undo_list, name="undo"),
    path("<int:pk>/again/", lists.check_list_again, name="again"),
    path("<int:pk>/forget/", lists.forget_list, name="forget"),
    path("<int:pk>/rows/<int:row>/", lists.mend_list_row, name="row"),
]
