"""Addresses of the office's kit."""

from django.urls import path

from surveys.views import instruments

app_name = "instruments"
urlpatterns = [
    path("", instruments.show_all, name="list"),
    path("list.<str:kind>", instruments.export, name="export"),
    path("record/", instruments.record, name="record"),
    path("<str:identifier>/", instruments.show, name="instrument"),
    path("<str:identifier>/label/", instruments.print_label, name="label"),
    path("<str:identifier>/calibrate/", instruments.calibrate, name="calibrate"),
    path("<str:identifier>/maintain/", instruments.maintain, name="maintain"),
    path("<str:identifier>/out-of-use/", instruments.take_out_of_use, name="out_of_use"),
]
