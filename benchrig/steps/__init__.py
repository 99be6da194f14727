"""The step kinds, one file each. KINDS is the list that the plan language has."""

from __future__ import annotations

from benchrig.steps.access import Access
from benchrig.steps.ask import Ask
from benchrig.steps.base import Step
from benchrig.steps.call import Call
from benchrig.steps.command import Command
from benchrig.steps.compute import Compute
from benchrig.steps.connect import Connect, Disconnect
from benchrig.steps.console import Console
from benchrig.steps.discover import Discover
from benchrig.steps.encrypt import Encrypt
from benchrig.steps.exchange import Exchange
from benchrig.steps.group import Group
from benchrig.steps.listen import Listen
from benchrig.steps.notify import Notify
from benchrig.steps.pair import Pair
from benchrig.steps.power import Power
from benchrig.steps.privacy import Privacy
from benchrig.steps.read import Read
from benchrig.steps.reboot import Reboot
from benchrig.steps.repeat import Repeat
from benchrig.steps.robust import Robust
from benchrig.steps.scan import Scan
from benchrig.steps.unpair import Unpair
from benchrig.steps.wait import Wait
from benchrig.steps.write import Write

KINDS: dict[str, type[Step]] = {
    kind.verb: kind
    for kind in (
        Scan,
        Connect,
        Discover,
        Read,
        Write,
        Notify,
        Exchange,
        Disconnect,
        Wait,
        Ask,
        Call,
        Command,
        Compute,
        Console,
        Power,
        Group,
        Repeat,
        Listen,
        Reboot,
        Pair,
        Encrypt,
        Unpair,
        Access,
        Privacy,
        Robust,
    )
}

__all__ = ["KINDS", "Step"]
