"""Addresses for machines that watch the office."""

from django.urls import path

from office.upkeep import views

app_name = "upkeep"
urlpatterns = [
    path("health/", views.all_of_it, name="health"),
    path("health/serving/", views.serving, name="serving"),
    path("metrics", views.figures, name="metrics"),
]
