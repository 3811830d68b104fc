"""Access keys, for administrators."""

from django.urls import path

from office.interface import key_views

app_name = "access_keys"
urlpatterns = [
    path("", key_views.show_all, name="list"),
    path("make/", key_views.make, name="make"),
    path("<slug:key>/revoke/", key_views.revoke, name="revoke"),
]
