"""Every address of the office, app by app."""

from django.urls import include, path

from office.desk import home

handler400 = "office.people.json_answers.bad_request_answer"
handler500 = "office.failures.server_error"

urlpatterns = [
    path("", home.show, name="home"),
    path("people/", include("office.people.urls")),
    path("people/", include("office.people.second_urls")),
    path("work/", include("office.work.urls")),
    path("policy/", include("office.policy.urls")),
    path("trail/", include("office.desk.trail_urls")),
    path("boats/", include("boats.urls")),
    path("visits/", include("surveys.urls")),
    path("instruments/", include("surveys.instrument_urls")),
    path("certificates/", include("office.certificates.urls")),
    path("complaints/", include("office.complaints.urls")),
    path("desk/", include("office.desk.urls")),
    path("check/", include("office.racing.urls")),
    path("access-keys/", include("office.interface.key_urls")),
    path("api/", include("office.interface.urls")),
    path("events/", include("office.racing.event_urls")),
    path("", include("office.upkeep.urls")),
]
