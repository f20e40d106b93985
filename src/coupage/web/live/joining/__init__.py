"""Joining by a code: a stranger gives a name, and gets a link that opens one place and no more.

It serves whatever is done at a table together: a cupping today, a test with guests tomorrow. What
an app has to bring:

1. **Say what its code opens**: a class with the four methods of :class:`Opens`, registered under a
   kind in the app's ``ready()``::

       joining.register("guests", GuestPlaces())

2. **Show the code to the host**: ``joining.make_code(kind="guests", key=test.pk, by=..., at=...)``
   gives the one that is valid (made at need), ``joining.invitation(request, code)`` its letters,
   address and QR code for a template (``{% include "live/invitation.html" %}``), and
   ``joining.revoke_code(...)`` ends it. A code is valid for its one thing only, and only as long
   as ``refusal`` returns nothing.

3. **Guard the views of the place** by ``@joining.holds("guests")``, at addresses with
   ``<str:token>`` in them. The view gets the ticket instead of a person::

       @joining.holds("guests")
       def sheet(request: HttpRequest, ticket: Ticket) -> HttpResponse:
           place = Place.objects.get(pk=ticket.place)

   No account, session or cookie is asked for; the token in the address is signed and can be
   neither guessed nor changed into another. Such views need no CSRF token when they take JSON:
   nothing in the browser speaks for a ticket by itself. Add their names to ``BY_TICKET`` in
   ``tests/web/test_rights.py``; a test crawls that nothing else is open.

What comes with it: the pages ``/join/`` (type the code) and ``/join/<letters>/`` (give a name); at
most ten wrong codes in ten minutes from one network address; a cookie below ``/join/`` by which
somebody who scans the code twice comes back to the same place; the same form sent twice gives one
place. ``joining.ticket_for(...)`` makes the ticket of a place that the host lays out
(a known taster's own QR code), ``joining.token(ticket)`` its signed text, and
``joining.revoke_ticket(...)`` ends it.
"""

from __future__ import annotations

from coupage.web.live.joining.codes import letters_of, make_code, revoke_code
from coupage.web.live.joining.guessing import TooManyGuessesError, code_of
from coupage.web.live.joining.invitation import Invitation, invitation, qr_of
from coupage.web.live.joining.opens import Opens, opens, register
from coupage.web.live.joining.tickets import (
    come_in,
    holds,
    revoke_ticket,
    ticket_for,
    ticket_of,
    token,
)

__all__ = [
    "Invitation",
    "Opens",
    "TooManyGuessesError",
    "code_of",
    "come_in",
    "holds",
    "invitation",
    "letters_of",
    "make_code",
    "opens",
    "qr_of",
    "register",
    "revoke_code",
    "revoke_ticket",
    "ticket_for",
    "ticket_of",
    "token",
]
