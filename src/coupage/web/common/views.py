"""The pages nobody wants to see, said calmly: what happened, that nothing is lost, how to go on."""

from __future__ import annotations

from urllib.parse import urlsplit

from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import (
    RequestDataTooBig,
    SuspiciousOperation,
    TooManyFieldsSent,
    TooManyFilesSent,
)
from django.http import Http404, HttpRequest, HttpResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.template.loader import render_to_string
from django.views.decorators.http import require_safe

from coupage.web.common.gallery import GalleryPage

__all__ = [
    "bad_request",
    "forbidden",
    "from_our_page",
    "gallery",
    "gallery_sheet",
    "not_found",
    "server_error",
    "stale_form",
    "too_large",
]

# Never shown again and never sent again on the person's behalf.
_SECRET = ("password", "csrfmiddlewaretoken", "secret", "token")


def bad_request(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """400; or 413 when the reason is size."""
    if isinstance(exception, RequestDataTooBig | TooManyFieldsSent | TooManyFilesSent):
        return too_large(request)
    return _sentences(
        request,
        400,
        "That request could not be understood",
        "Something in it was not in the form this program sends. Nothing was changed.",
        "Go back, open the page afresh and try again.",
    )


def forbidden(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """403: signed in, but not for this."""
    said = str(exception) if exception and not isinstance(exception, SuspiciousOperation) else ""
    return _sentences(
        request,
        403,
        "That is not yours to do here",
        *(
            (said, "Nothing was changed.")
            if said
            else (
                "Your role at this roastery does not include it. Nothing was changed.",
                "Ask an owner to do it, or to change your role.",
            )
        ),
    )


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """404: gone, never there, or not for this person."""
    said = _own_words(exception)
    return _sentences(
        request,
        404,
        "There is nothing at this address",
        said or "It may have been removed, or the address was cut short on its way to you.",
        "Use the sections above, or go back to where you came from.",
    )


def too_large(request: HttpRequest) -> HttpResponse:
    """413: more than this installation takes in at once."""
    return _sentences(
        request,
        413,
        "Too large to take in",
        "What was sent is more than this installation takes in at once. Nothing was changed.",
        "Split it, or save the table as CSV, which is much smaller, and send that.",
    )


@login_not_required
def server_error(request: HttpRequest) -> HttpResponse:  # noqa: ARG001
    """500: our mistake. Needs no database, no session and no signed-in person."""
    page = render_to_string(
        "coupage/error_plain.html",
        {
            "title": "Something went wrong on our side",
            "sentences": [
                "The program met something it was not made for.",
                "What was saved before is safe; what you just sent may not be saved.",
                "Go back, check, and try once more. If it happens again, the log says where.",
            ],
        },
    )
    return HttpResponse(page, status=500)


@login_not_required
def stale_form(request: HttpRequest, reason: str = "") -> HttpResponse:  # noqa: ARG001
    """403 after a failed CSRF check or an ended session: a page that grew old, or another site's.

    A form that demonstrably came from our own page is offered again with a fresh token, so that
    nothing typed is lost. Whatever came from elsewhere gets the explanation only: offering to
    send it again would let another site write with one more click.
    """
    ours = from_our_page(request)
    if request.headers.get("HX-Request") == "true":
        response = HttpResponse("This page had grown old. Nothing was saved.", status=403)
        if ours:
            # live.js takes the fresh token into the page and asks to send once more.
            response.headers["X-Fresh-Token"] = get_token(request)
        return response
    typed = [
        (name, value)
        for name, values in request.POST.lists()
        for value in values
        if not any(word in name.lower() for word in _SECRET)
    ]
    return render(
        request,
        "coupage/stale_form.html",
        {
            "ours": ours,
            "typed": typed if ours else [],
            "files": ours and bool(request.FILES),
            "again": request.get_full_path() if ours else "",
            "cookies": bool(request.COOKIES),
            "signed_in": request.user.is_authenticated if hasattr(request, "user") else False,
        },
        status=403,
    )


@require_safe
def gallery(request: HttpRequest) -> HttpResponse:
    """Every part on one page, for whoever builds or judges a screen."""
    return render(request, "coupage/gallery.html", {"page": GalleryPage(request)})


@require_safe
def gallery_sheet(request: HttpRequest) -> HttpResponse:
    """A printed sheet as a part: one side of A4."""
    return render(request, "coupage/gallery_sheet.html", {"page": GalleryPage(request)})


# The mark that the walk over all addresses looks for: anybody with an own account. The right itself
# is spelled out in the people app, which stands above this one; signing in is required anyway.
gallery.right = gallery_sheet.right = "join"  # type: ignore[attr-defined]


def from_our_page(request: HttpRequest) -> bool:
    """Say whether a request demonstrably came from a page of this program."""
    site = request.headers.get("Sec-Fetch-Site")
    if site is not None and site != "same-origin":
        return False
    origin = request.headers.get("Origin") or request.headers.get("Referer") or ""
    parts = urlsplit(origin)
    return (parts.scheme, parts.netloc) == (request.scheme, request.get_host())


def _own_words(exception: Exception | None) -> str:
    """Return the sentence of ours that a 404 carries; Django's reasons are for programmers."""
    said = exception.args[0] if isinstance(exception, Http404) and exception.args else ""
    ours = isinstance(said, str) and said.endswith(".") and "matches the given query" not in said
    return said if ours else ""


def _sentences(request: HttpRequest, status: int, title: str, *sentences: str) -> HttpResponse:
    return render(
        request,
        "coupage/error.html",
        {"title": title, "sentences": sentences},
        status=status,
    )
