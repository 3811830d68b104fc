"""Addresses of complaints."""

from django.urls import path

from office.complaints import own_views, steps, views

app_name = "complaints"
urlpatterns = [
    path("", views.show_all, name="list"),
    path("list.<str:kind>", views.export, name="export"),
    path("receive/", views.receive, name="receive"),
    path("own/", own_views.own, name="own"),
    path("send/<str:boat_key>/", own_views.send, name="send"),
    path("report/<str:visit_key>/", own_views.report, name="report"),
    path("<str:key>/", views.show, name="complaint"),
    path("<str:key>/course/", own_views.course, name="course"),
    *(path(f"<str:key>/{name}/", steps.show, {"name": name}, name=name.replace("-", "_")) for name in steps.STEPS),
]
