"""Public addresses. The second is printed in the code of every certificate: it never changes."""

from django.urls import path

from office.racing import views

app_name = "racing"
urlpatterns = [
    path("", views.check, name="check"),
    path("c/<str:number>/", views.certificate, name="certificate"),
]
