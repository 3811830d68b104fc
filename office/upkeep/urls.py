"""Addresses for machines that watch the office."""

from django.urls import path

from office.upkeep import health, views

app_name = "upkeep"
urlpatterns = [
    path("health/", views.Health.as_view(), name="health"),
    path("health/serving/", views.Health.as_view(checks=health.SERVING), name="serving"),
    path("metrics", views.figures, name="metrics"),
]
