"""Addresses of everything the program serves."""

from __future__ import annotations

from django.urls import include, path

urlpatterns = [
    path("", include("crossfall_app.web.urls")),
    path("", include("crossfall_app.field.urls")),
    path("open311/v2/", include("crossfall_app.web.open311_urls")),
]

handler400 = "crossfall_app.web.views.errors.bad_request"
handler403 = "crossfall_app.web.views.errors.forbidden"
handler404 = "crossfall_app.web.views.errors.not_found"
handler500 = "crossfall_app.web.views.errors.server_error"
