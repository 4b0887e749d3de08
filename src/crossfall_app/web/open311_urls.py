"""Addresses of Open311: open to everybody where the agency turns it on, apart from the pages."""

from __future__ import annotations

from django.urls import path, register_converter

from crossfall_app.web.views import open311


class KindConverter:
    """How Open311 answers: ``json`` or ``xml``."""

    regex = "json|xml"

    def to_python(self, value: str) -> str:
        return value

    def to_url(self, value: str) -> str:
        return value


register_converter(KindConverter, "kind311")

urlpatterns = [
    path("services.<kind311:kind>", open311.services, name="open311-services"),
    path("requests.<kind311:kind>", open311.requests, name="open311-requests"),
    path("requests/<str:request_id>.<kind311:kind>", open311.one_request, name="open311-request"),
]
