"""What every request and answer goes through before any app is asked.

References
----------
.. [1] W3C, Content Security Policy Level 3, section 6 (directives): ``default-src 'none'`` closes
   every kind of source that is not opened by name.
.. [2] RFC 9110, HTTP Semantics, section 15.5.14 (413 Content Too Large).
"""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.template.loader import render_to_string

__all__ = ["CONTENT_SECURITY_POLICY", "ContentSecurityPolicy", "UploadLimit"]

Handler = Callable[[HttpRequest], HttpResponseBase]

# No 'unsafe-inline' and no 'unsafe-eval' anywhere: scripts and styles are files of ours. SVG
# presentation attributes (fill, x, width) are not styles in the sense of the policy and work.
CONTENT_SECURITY_POLICY = "; ".join(  # noqa: FLY002  one directive a line
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self'",
        "font-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
    )
)


class ContentSecurityPolicy:
    """Put the policy on every answer, error pages and files included."""

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        response.headers["Content-Security-Policy"] = CONTENT_SECURITY_POLICY
        response.headers.setdefault("Permissions-Policy", "camera=(), geolocation=(), payment=()")
        return response


class UploadLimit:
    """Refuse a body that says it is larger than ``UPLOAD_LIMIT_BYTES`` before a byte of it is read.

    A body without a stated length is read as empty by Django's WSGI request, so the statement is
    all there is to check.
    """

    def __init__(self, get_response: Handler) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        limit: int = settings.UPLOAD_LIMIT_BYTES
        try:
            stated = int(request.META.get("CONTENT_LENGTH") or 0)
        except ValueError:
            stated = 0
        if stated > limit:
            page = render_to_string(
                "coupage/error_plain.html",
                {
                    "title": "Too large to take in",
                    "sentences": [
                        (
                            f"What was sent is {_megabytes(stated)}; at most {_megabytes(limit)} "
                            "are taken in at once. Nothing was changed."
                        ),
                        "Split the file, or save the table as CSV, which is smaller, and send it.",
                    ],
                },
            )
            response = HttpResponse(page, status=413)
            # The unread body would be taken for the next request on a kept-alive connection.
            response.headers["X-Upload-Limit"] = str(limit)
            return response
        return self.get_response(request)


def _megabytes(count: int) -> str:
    return f"{count / 1_048_576:.0f} MB"
