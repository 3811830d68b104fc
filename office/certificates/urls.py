"""Addresses of the certificates."""

from django.urls import path

from office.certificates import (
    amendment_views,
    declaration_views,
    recall_views,
    reminder_views,
    renewal_views,
    suspension_views,
    views,
)

app_name = "certificates"
urlpatterns = [
    path("", views.show_all, name="list"),
    path("export.<slug:kind>", views.export, name="export"),
    path("declare/<slug:key>/", declaration_views.declare, name="declare"),
    path("hand-over/<slug:key>/", declaration_views.hand_over, name="hand_over"),
    path("declarations/<slug:key>/", declaration_views.settle, name="settle"),
    path("remind/", reminder_views.show, name="remind"),
    path("renew/", renewal_views.choose, name="renew"),
    path("renewals/<slug:key>/", renewal_views.show, name="renewal"),
    path("recall/<str:identifier>/", recall_views.show, name="recall"),
    path("recall/<str:identifier>/list.<slug:kind>", recall_views.export, name="recall_export"),
    path("issue/<slug:key>/", views.issue, name="issue"),
    path("<str:number>/", views.show, name="certificate"),
    path("<str:number>/amend/", amendment_views.amend, name="amend"),
    path("<str:number>/amendments/<int:amendment>-<slug:size>.pdf", amendment_views.pdf, name="amendment_pdf"),
    path("<str:number>/amendments/<int:amendment>.json", amendment_views.signed_snapshot, name="amendment_snapshot"),
    path("<str:number>/suspend/", suspension_views.suspend, name="suspend"),
    path("<str:number>/reinstate/", suspension_views.reinstate, name="reinstate"),
    path("<str:number>/withdraw/", views.withdraw, name="withdraw"),
    path("<str:number>/drawing.svg", views.drawing_file, name="drawing"),
    path("<str:number>/certificate.json", views.signed_snapshot, name="snapshot"),
    path("<str:number>/<slug:size>.pdf", views.pdf, name="pdf"),
]
