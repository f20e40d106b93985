"""Writes about runs, bags and dispatches, one transaction each.

Locks are taken in one order everywhere, so that nobody waits in a circle: the rules, runs by
number, bags by number, batches by number.
"""

from __future__ import annotations

from coupage.web.production.actions.bags import enter_bags, pack_bags
from coupage.web.production.actions.closing import (
    close_run,
    hold_runs,
    release_runs,
    reopen_run,
    void_run,
)
from coupage.web.production.actions.sending import receive_return, send_bags, void_dispatch
from coupage.web.production.actions.setup import add_pack, change_pack, change_rules
from coupage.web.production.actions.weighing import (
    begin_run,
    check_mixing,
    take_back_lift,
    weigh_lift,
)

__all__ = [
    "add_pack",
    "begin_run",
    "change_pack",
    "change_rules",
    "check_mixing",
    "close_run",
    "enter_bags",
    "hold_runs",
    "pack_bags",
    "receive_return",
    "release_runs",
    "reopen_run",
    "send_bags",
    "take_back_lift",
    "void_dispatch",
    "void_run",
    "weigh_lift",
]
