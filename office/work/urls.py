"""Addresses of long work."""

from django.urls import path

from office.work import views

app_name = "work"
urlpatterns = [
    path("", views.show_all, name="list"),
    path("ask/", views.ask, name="ask"),
    path("<str:key>/", views.show, name="work"),
    path("<str:key>/file/", views.file, name="file"),
    path("<str:key>/again/", views.again, name="again"),
]
