"""Addresses of the cab: the page for phones under /cab/, the office's side under /field/."""

from __future__ import annotations

from django.urls import path

from crossfall_app.field.views import api, cab, office

urlpatterns = [
    path("cab/", cab.shell, name="cab"),
    path("cab/manifest.webmanifest", cab.manifest, name="cab-manifest"),
    path("cab/worker.js", cab.worker, name="cab-worker"),
    path("cab/api/pair", api.pairing, name="cab-pair"),
    path("cab/api/day", api.day, name="cab-day"),
    path("cab/api/facts", api.facts, name="cab-facts"),
    path("cab/api/photos/<uuid:key>", api.photo, name="cab-photo"),
    path("field/", office.field, name="field"),
    path("field/phones/", office.phones, name="field-phones"),
    path("field/phones/pair/", office.start_pairing, name="field-pair"),
    path("field/phones/<str:device_key>/revoke/", office.take_key, name="field-revoke"),
    path("field/radio/", office.radio, name="field-radio"),
    path("field/clashes/<uuid:first>/<uuid:second>/", office.settle, name="field-settle"),
    path("field/take-over/", office.take_over_rest, name="field-take-over"),
    path("field/cards/<int:number>/", office.actuals, name="field-actuals"),
    path("field/cards/<int:number>/set-aside/", office.put_aside, name="field-set-aside"),
    path("field/replay/<str:machine_id>/<str:day>/", office.replay, name="field-replay"),
    path("field/rates/", office.rates, name="field-rates"),
]
