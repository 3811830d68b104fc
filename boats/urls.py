"""Addresses of the register of boats. The page of one boat crosses apps: it is desk:boat."""

from django.urls import path
from django.views.generic import RedirectView

from boats.views import access, designs, listing, people, register, rigs

app_name = "boats"
urlpatterns = [
    path("", listing.show, name="list"),
    path("export.<slug:kind>", listing.export, name="export"),
    path("register/", register.register, name="register"),
    path("spars/", listing.spars, name="spars"),
    path("designs/", designs.show_all, name="designs"),
    path("designs/list.<str:kind>", designs.export, name="designs_export"),
    path("designs/add/", designs.add, name="design_add"),
    path("designs/<slug:key>/", designs.show, name="design"),
    path("designs/<slug:key>/limits/<slug:dimension>/<slug:mast>/end/", designs.end_limit, name="end_limit"),
    path("join/<str:token>/", access.join, name="join"),
    path("<slug:key>/", RedirectView.as_view(pattern_name="desk:boat"), name="boat"),
    path("<slug:key>/particulars/", register.change, name="particulars"),
    path("<slug:key>/rig/", rigs.describe, name="rig"),
    path("<slug:key>/owners/", people.owners, name="owners"),
    path("<slug:key>/owners/<slug:person_key>/end/", people.end_ownership, name="end_ownership"),
    path("<slug:key>/interests/", people.record_interest, name="interests"),
    path("<slug:key>/interests/<slug:person_key>/<slug:kind>/end/", people.end_interest, name="end_interest"),
    path("<slug:key>/access/", access.show, name="access"),
    path("<slug:key>/access/<slug:person_key>/end/", access.end, name="end_access"),
    path("<slug:key>/access/links/<slug:invitation_key>/cancel/", access.cancel, name="cancel_link"),
    path("<slug:key>/interest/", people.own_interest, name="own_interest"),
]
