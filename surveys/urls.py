"""Addresses of visits."""

from django.urls import path

from surveys.views import budget, calendar, conditions, day, paper, planning, readings, sheets, signing, visits

app_name = "surveys"
urlpatterns = [
    path("", visits.show_all, name="list"),
    path("list.<str:kind>", visits.export_list, name="export_list"),
    path("ask/", planning.choose_boat, name="choose_boat"),
    path("ask/<str:boat_key>/", planning.ask, name="ask"),
    path("day/", day.show, name="day"),
    path("day/print/", day.print_all, name="day_paper"),
    path("calendar/", calendar.show, name="calendar"),
    path("calendar/make/", calendar.make, name="make_calendar"),
    path("calendar/revoke/", calendar.revoke, name="revoke_calendar"),
    path("calendar/feed/<str:token>.ics", calendar.feed, name="calendar_feed"),
    path("<str:key>/", visits.show, name="visit"),
    path("<str:key>/paper/", paper.show, name="paper"),
    path("<str:key>/drawing.svg", visits.drawing_file, name="drawing"),
    path("<str:key>/plan/", planning.plan, name="plan"),
    path("<str:key>/exception/", planning.grant_exception, name="exception"),
    path("<str:key>/call-off/", planning.call_off, name="call_off"),
    path("<str:key>/begin/", planning.begin, name="begin"),
    path("<str:key>/follow-rig/", planning.follow_rig, name="follow_rig"),
    path("<str:key>/conditions/", conditions.show, name="conditions"),
    path("<str:key>/readings/", readings.show, name="readings"),
    path("<str:key>/readings/panel/", readings.panel, name="panel"),
    path("<str:key>/readings/store/<str:row_key>/", readings.store_one, name="store_one"),
    path("<str:key>/readings/<slug:slug>/<slug:mast>/<int:take>/", readings.one_take, name="reading"),
    path("<str:key>/readings/<slug:slug>/<slug:mast>/<int:take>/away/", readings.withdraw, name="withdraw"),
    path("<str:key>/upload/", sheets.upload, name="upload"),
    path("<str:key>/sure/", budget.show, name="budget"),
    path("<str:key>/export/", sheets.download, name="export"),
    path("<str:key>/settle/", signing.settle, name="settle"),
    path("<str:key>/sign/", signing.sign, name="sign"),
    path("<str:key>/queries/<str:query_key>/", signing.answer, name="answer"),
]
