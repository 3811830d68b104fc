"""Addresses of long work."""

from django.urls import path

from office.work import views

app_name = "work"
urlpatterns = [
    path("", views.show_all, name="list"),
    path("ask/", views.ask, name="ask"),
    path("letters/<str:key>/again/", views.letter_again, name="letter_again"),
    path("<str:key>/", views.show, name="work"),
    path("<str:key>/file/", views.file, name="file"),
    path("<str:key>/again/", views.again, name="again"),
]
