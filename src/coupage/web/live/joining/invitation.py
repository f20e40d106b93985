"""What the host's screen shows so that others can join: letters, address, QR code."""

from __future__ import annotations

from dataclasses import dataclass

import segno
from django.conf import settings
from django.http import HttpRequest
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe

from coupage.web.common.outside import is_loopback
from coupage.web.live.models import JoinCode

__all__ = ["Invitation", "address_for", "invitation", "qr_of"]


@dataclass(frozen=True, slots=True)
class Invitation:
    """A code as a page shows it. ``reachable`` says whether another device can get there."""

    code: JoinCode
    letters: str
    typed_at: str
    address: str
    qr: SafeString
    reachable: bool


def address_for(request: HttpRequest, path: str) -> str:
    """Return the whole address of a path as another device has to write it."""
    return f"{settings.LAN_URL}{path}" if settings.LAN_URL else request.build_absolute_uri(path)


def qr_of(address: str, *, title: str) -> SafeString:
    """Draw a QR code (ISO/IEC 18004) as inline SVG, dark on light in every theme."""
    drawn = segno.make(address, error="m", micro=False).svg_inline(
        border=4, dark="#000", light="#fff", title=title, svgclass="qr", omitsize=True
    )
    return mark_safe(drawn)  # noqa: S308  drawn by the library; the address is not in it as text


def invitation(request: HttpRequest, code: JoinCode) -> Invitation:
    """Return how others join by a code."""
    address = address_for(request, reverse("live:join", args=[code.letters]))
    host = address.split("://", 1)[1].split("/", 1)[0].rpartition(":")[0] or request.get_host()
    return Invitation(
        code=code,
        letters=str(code),
        typed_at=address_for(request, reverse("live:enter")).split("://", 1)[1].rstrip("/"),
        address=address,
        qr=qr_of(address, title=f"Code to scan: join with {code}"),
        reachable=not is_loopback(host),
    )
