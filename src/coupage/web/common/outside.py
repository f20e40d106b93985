"""Where a request comes from: this machine, or another one."""

from __future__ import annotations

import ipaddress

from django.conf import settings
from django.http import HttpRequest

__all__ = ["address_of", "is_loopback", "is_trusted_line"]


def address_of(request: HttpRequest) -> str:
    """Return the network address that a request came from, as far as it can be known.

    Behind a proxy (``COUPAGE_PROXY``) it is the last that the proxy wrote down; what stands before
    it could have been made up by anybody.
    """
    direct = str(request.META.get("REMOTE_ADDR", ""))
    if settings.SECURE_PROXY_SSL_HEADER:
        return request.headers.get("X-Forwarded-For", direct).rpartition(",")[2].strip() or direct
    return direct


def is_loopback(host: str) -> bool:
    """Say whether a host name or address means this machine itself.

    >>> is_loopback("127.0.0.1"), is_loopback("[::1]"), is_loopback("192.168.1.20")
    (True, True, False)
    """
    name = host.strip("[]")
    if name == "localhost":
        return True
    try:
        found = ipaddress.ip_address(name)
    except ValueError:
        return False
    mapped = getattr(found, "ipv4_mapped", None)
    return bool((mapped or found).is_loopback)


def is_trusted_line(request: HttpRequest) -> bool:
    """Say whether a password may travel this way: on the machine itself, or encrypted."""
    return request.is_secure() or is_loopback(address_of(request))
