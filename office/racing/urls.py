"""Public addresses. The second is printed in the code of every certificate: it never changes."""

from django.urls import path

from office.racing import anywhere, views

app_name = "racing"
urlpatterns = [
    path("", views.check, name="check"),
    path("c/<str:number>/", views.certificate, name="certificate"),
    path("anywhere/", anywhere.show, name="anywhere"),
    path("worker.js", anywhere.worker, name="worker"),
    path("keys.json", anywhere.keys, name="keys"),
    path("ended.json", anywhere.ended, name="ended"),
]
