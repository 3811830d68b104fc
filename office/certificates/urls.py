"""Addresses of the certificates."""

from django.urls import path

from office.certificates import suspension_views, views

app_name = "certificates"
urlpatterns = [
    path("", views.show_all, name="list"),
    path("export.<slug:kind>", views.export, name="export"),
    path("issue/<slug:key>/", views.issue, name="issue"),
    path("<str:number>/", views.show, name="certificate"),
    path("<str:number>/suspend/", suspension_views.suspend, name="suspend"),
    path("<str:number>/reinstate/", suspension_views.reinstate, name="reinstate"),
    path("<str:number>/withdraw/", views.withdraw, name="withdraw"),
    path("<str:number>/drawing.svg", views.drawing_file, name="drawing"),
    path("<str:number>/<slug:size>.pdf", views.pdf, name="pdf"),
]
