"""The office's policy, for its administrators."""

from django.urls import path

from office.policy import views

app_name = "policy"
urlpatterns = [
    path("", views.show, name="show"),
    path("editions/", views.list_editions, name="editions"),
]
