"""The trail: read, filtered, exported and walked."""

from django.urls import path

from office.desk import trail

app_name = "trail"
urlpatterns = [
    path("", trail.show, name="list"),
    path("trail.<str:kind>", trail.export, name="export"),
    path("walk/", trail.walk, name="walk"),
]
