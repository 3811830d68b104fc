"""Events of race committees."""

from django.urls import path

from office.racing import entry_views, event_views, spot_dock_views, spot_views, statement_views
from surveys.views import dock

app_name = "events"
urlpatterns = [
    path("", event_views.show_all, name="list"),
    path("new/", event_views.make, name="make"),
    path("worker.js", dock.worker, name="worker"),
    path("<str:key>/", event_views.show, name="event"),
    path("<str:key>/change/", event_views.change, name="change"),
    path("<str:key>/people/", event_views.people, name="people"),
    path("<str:key>/people/<str:person_key>/end/", event_views.end_member, name="end_member"),
    path("<str:key>/list/", entry_views.upload, name="upload"),
    path("<str:key>/check/", entry_views.check_again, name="check_again"),
    path("<str:key>/checks/<int:number>/", event_views.check, name="check"),
    path("<str:key>/entries/<int:row>/", entry_views.entry, name="entry"),
    path("<str:key>/entries/<int:row>/settle/", entry_views.settle, name="settle"),
    path("<str:key>/entries/<int:row>/statement/", entry_views.record_statement, name="record_statement"),
    path("<str:key>/entries/<int:row>/spot-check/", spot_views.begin, name="begin_spot_check"),
    path("<str:key>/spot-checks/", spot_views.show_all, name="spot_checks"),
    path("<str:key>/spot-checks/<str:spot_key>/", spot_views.show, name="spot_check"),
    path("<str:key>/spot-checks/<str:spot_key>/instrument/", spot_views.describe_instrument, name="spot_instrument"),
    path("<str:key>/spot-checks/<str:spot_key>/readings/<str:token>/away/", spot_views.take_away, name="spot_away"),
    path("<str:key>/spot-checks/<str:spot_key>/finish/", spot_views.finish, name="spot_finish"),
    path("<str:key>/spot-checks/<str:spot_key>/dock/", spot_dock_views.show, name="spot_dock"),
    path("<str:key>/spot-checks/<str:spot_key>/dock/state.json", spot_dock_views.state, name="spot_state"),
    path("<str:key>/spot-checks/<str:spot_key>/dock/send/", spot_dock_views.send, name="spot_send"),
    path("<str:key>/spot-checks/<str:spot_key>/report/", spot_views.report, name="spot_report"),
    path("<str:key>/report/", entry_views.ask_report, name="ask_report"),
    path("<str:key>/report/<str:kind>/", entry_views.report_file, name="report"),
    path("<str:key>/statements/", statement_views.show, name="statements"),
    path("<str:key>/statements/<str:statement_key>/settle/", statement_views.settle, name="settle_statement"),
]
