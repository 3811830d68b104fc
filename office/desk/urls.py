"""Addresses of the pages that cross apps."""

from django.urls import path

from office.desk import boat, fleet, history, personal, queue, review

app_name = "desk"
urlpatterns = [
    path("queue/", queue.show, name="queue"),
    path("review/<str:key>/", review.show, name="review"),
    path("review/<str:key>/next/", queue.step, {"direction": "next"}, name="next_in_queue"),
    path("review/<str:key>/before/", queue.step, {"direction": "before"}, name="before_in_queue"),
    path("review/<str:key>/begin/", review.begin, name="begin_review"),
    path("review/<str:key>/query/", review.ask, name="ask_query"),
    path("review/<str:key>/queries/<str:query_key>/settle/", review.settle, name="settle_query"),
    path("review/<str:key>/return/", review.send_back, name="return_visit"),
    path("review/<str:key>/accept/", review.accept, name="accept_visit"),
    path("boats/<str:key>/", boat.show, name="boat"),
    path("boats/<str:key>/drawing.svg", boat.drawing_file, name="drawing"),
    path("boats/<str:key>/history/", history.show, name="history"),
    path("personal/", personal.notice, name="personal"),
    path("personal/<str:key>/", personal.take_away, name="take_away"),
    path("personal/<str:key>/remove/", personal.remove, name="remove_name"),
    path("fleet/", fleet.show, name="fleet"),
    path("fleet/<str:identifier>/suggest/", fleet.suggest, name="suggest_recalibration"),
]
