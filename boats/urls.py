"""Addresses of the register of boats. The page of one boat crosses apps: it is desk:boat."""

from django.urls import path
from django.views.generic import RedirectView

from boats.views import designs, listing, people, register, rigs

app_name = "boats"
urlpatterns = [
    path("", listing.show, name="list"),
    path("export.<str:kind>", listing.export, name="export"),
    path("register/", register.register, name="register"),
    path("spars/", listing.spars, name="spars"),
    path("designs/", designs.show_all, name="designs"),
    path("designs/add/", designs.add, name="design_add"),
    path("designs/<str:key>/", designs.show, name="design"),
    path("designs/<str:key>/limits/<str:dimension>/<str:mast>/end/", designs.end_limit, name="end_limit"),
    path("<str:key>/", RedirectView.as_view(pattern_name="desk:boat"), name="boat"),
    path("<str:key>/particulars/", register.change, name="particulars"),
    path("<str:key>/rig/", rigs.describe, name="rig"),
    path("<str:key>/owners/", people.owners, name="owners"),
    path("<str:key>/owners/<str:person_key>/end/", people.end_ownership, name="end_ownership"),
    path("<str:key>/interests/", people.record_interest, name="interests"),
    path("<str:key>/interests/<str:person_key>/<str:kind>/end/", people.end_interest, name="end_interest"),
    path("<str:key>/interest/", people.own_interest, name="own_interest"),
]
