"""What is shown when a page cannot be."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render


def bad_request(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return _trouble(request, 400, "That could not be understood", "Go back and try again.")


def forbidden(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return _trouble(
        request,
        403,
        "That is not allowed",
        "Your account may look at this office, but not do that. The superintendent gives roles.",
    )


def forged(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A change that did not come from one of our own pages, or from one that lay open too long."""
    return _trouble(
        request,
        403,
        "That did not come from this office",
        "The page was open too long or belongs to another sign-in. Open it again and repeat.",
    )


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return _trouble(request, 404, "There is nothing here", "The road, plan or card is unknown.")


def server_error(request: HttpRequest) -> HttpResponse:
    return _trouble(
        request,
        500,
        "Something broke on our side",
        "Nothing was changed. Look at the window where crossfall runs; it says what happened.",
    )


def _trouble(request: HttpRequest, status: int, name: str, what: str) -> HttpResponse:
    # No look into the store: it may be the store that is in trouble
    return render(
        request,
        "web/trouble.html",
        {"page_name": name, "what": what, "district_name": "", "ways": ()},
        status=status,
    )
