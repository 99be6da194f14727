"""What a device asks for too little, or does wrong, where it should be safe from strangers. Of a device without security
there is nothing to be lost."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from msgspec.structs import replace

from benchrig.faults import parts
from benchrig.faults.doings import doings
from benchrig.faults.fault import OF_LINK, Fault, Scene, Weight, on_unit
from benchrig.faults.limits import Limits
from benchrig.faults.mutation import Change, Mutation, in_turn, replaced, within
from benchrig.faults.weakening import weakenings
from benchrig.radio.security import COMPARING, SHOWING, SMALLEST_KEY, TYPING
from benchrig.radio.virtual.behaviours import DeleteBonds
from benchrig.radio.virtual.device_spec import DeviceSpec
from benchrig.radio.virtual.security_spec import PasskeyText, Reason, SecuritySpec
from benchrig.values.quantity import Duration

_NEEDS = ("read_needs", "write_needs", "subscribe_needs")
_OPEN: dict[str, Any] = dict.fromkeys(_NEEDS) | {"encrypted": False, "key_size_needed": None, "authorized": True}
_WAYS = {"read_needs": "be read", "write_needs": "be written", "subscribe_needs": "be subscribed to"}
_BY = {
    "nothing": "by anybody, without pairing",
    "encrypted": "by whoever has paired, also without a passkey",
    "authenticated": "by whoever has paired with a passkey, also by legacy pairing",
}
_UNSPECIFIED = Reason.from_source("unspecified reason")


def faults(scene: Scene, limits: Limits) -> Iterator[Fault]:
    device = scene.unit
    if not _is_secure(device):
        return
    yield from _weaker(device)
    yield from _open(device)
    yield from _pairing(device.security)
    yield from _bonds(device)
    yield from _refusals()


def _is_secure(device: DeviceSpec) -> bool:
    return any(_needs(each.spec) for each in [*parts.characteristics(device), *parts.descriptors(device)]) or (
        device.security != SecuritySpec()
    )


def _needs(spec: Any) -> bool:
    return any(getattr(spec, key, default) != default for key, default in _OPEN.items())


def _fault(name: str, says: str, change: Change, weight: Weight = "grave", subject: str = "") -> Fault:
    return Fault(name, "security", says, on_unit(Mutation(name, "", change)), weight, OF_LINK, subject)


# What attributes need


def _weaker(device: DeviceSpec) -> Iterator[Fault]:
    for weaker in weakenings(device):
        called, _, words = weaker.name.rpartition(": ")
        yield Fault(weaker.name, "security", _says(called, words), on_unit(weaker), "grave", OF_LINK, weaker.path)


def _says(called: str, words: str) -> str:
    key, _, less = words.partition(" ")
    if key in _WAYS:
        return f"The {called} can {_WAYS[key]} {_BY[less]}."
    if words.startswith("any size"):
        return f"The {called} is there for short keys too."
    return f"The {called} is there for people without authorization."


def _open(device: DeviceSpec) -> Iterator[Fault]:
    yield _fault("security: none", "Nothing is protected: everything is there for anybody, without pairing.", _opened)
    for need in ("authenticated", "secure connections"):
        says = f"Whatever needs {need.replace('authenticated', 'a passkey')} is there after any pairing."
        change = _lowered(need)
        yield _fault(f"security: {need} not asked for", says, change)


def _opened(device: Any) -> Any:
    return _each(device, lambda spec: {key: value for key, value in _OPEN.items() if hasattr(spec, key)})


def _lowered(need: str) -> Change:
    def lower(spec: Any) -> dict[str, Any]:
        return {key: "encrypted" for key in _NEEDS if getattr(spec, key, None) == need}

    return lambda device: _each(device, lower)


def _each(device: Any, keys: Any) -> Any:
    """The device with other keys in all attributes."""

    def characteristic(one: Any) -> Any:
        return replace(one, descriptors=[replace(each, **keys(each)) for each in one.descriptors], **keys(one))

    def service(one: Any) -> Any:
        return replace(one, characteristics=[characteristic(each) for each in one.characteristics])

    return replace(device, services=[service(one) for one in device.services])


# How it pairs


def _secures(**keys: Any) -> Change:
    return within("security", replaced(**keys))


def _errs(**keys: Any) -> Change:
    return within("security", within("faults", replaced(**keys)))


def _pairing(sound: SecuritySpec) -> Iterator[Fault]:
    if sound.pairing == "secure connections":
        yield _fault("pairing: legacy taken", "It pairs by legacy pairing too.", _secures(pairing="either"))
    if sound.pairing != "legacy":
        yield _fault(
            "pairing: legacy alone", "It pairs by legacy pairing alone.", _secures(pairing="legacy", least_key_size=7)
        )
        yield _fault("pairing: debug key", "It pairs with the key that everybody knows from the specification.",
                     _errs(debug_key=True))  # fmt: skip
    else:
        yield _fault("pairing: same key", "It gives the same key to everybody.", _errs(same_key=True))
    if sound.capability != "none":
        says = "It pairs without a passkey: its display or keyboard is not told of."
        plain = _secures(capability="none", mitm=None, passkey=PasskeyText(PasskeyText.RANDOM), compare="accept",
                         accepts="encrypted")  # fmt: skip
        yield _fault("pairing: just works", says, in_turn(plain, replaced(on_display=[])))
        says = "It does not ask for protection against a man in the middle."
        yield _fault("pairing: no protection asked", says, _secures(mitm=False))
        yield _fault("passkey: not checked", "It takes any passkey.", _errs(unchecked=True))
    if sound.capability in SHOWING and sound.passkey == PasskeyText.RANDOM:
        says = "It shows the same passkey each time."
        yield _fault("passkey: always 123456", says, _secures(passkey=PasskeyText("123456")))
        yield _fault("passkey: always 000000", says, _secures(passkey=PasskeyText("000000")))
        yield _fault("passkey: not shown", "It shows no passkey.", replaced(on_display=[]), "serious")
    if sound.compare == "ask":
        yield _fault("pairing: not asked", "It pairs without asking its user.", _errs(confirms_unasked=True))
    if sound.accepts != "encrypted":
        yield _fault(
            "pairing: any taken", "It takes pairings that come to less than they should.", _secures(accepts="encrypted")
        )
    if not sound.downgrade:
        yield _fault(
            "pairing: weaker one taken", "A weaker pairing replaces a stronger bond.", _secures(downgrade=True)
        )
    if sound.least_key_size > SMALLEST_KEY:
        says = "It takes short keys."
        yield _fault("pairing: short keys taken", says, _secures(least_key_size=SMALLEST_KEY))
    if sound.wait_after_failure.seconds:
        at_once = _secures(wait_after_failure=Duration.of(0))
        yield _fault("pairing: no wait", "After a failed pairing another one may be tried at once.", at_once)
    short = _secures(key_size=SMALLEST_KEY, least_key_size=SMALLEST_KEY)
    yield _fault("pairing: short key", "Its keys are short.", short)
    if sound.capability in (*TYPING, *COMPARING):
        slow = _secures(answer_after=Duration.of(20))
        yield _fault("pairing: slow", "It takes 20 s until it continues with a pairing.", slow, "minor")


def _bonds(device: DeviceSpec) -> Iterator[Fault]:
    if not (device.security.bonding and device.security.bondable):
        return
    yield _fault("bonds: none kept", "It pairs, and keeps no key.", _secures(bonding=False), "serious")
    for when, words in (("disconnection", "the link ends"), ("restart", "it starts again")):
        forgets = _errs(forgets_bonds=when)
        yield _fault(
            f"bonds: forgotten at each {when}", f"It forgets whom it is bonded with when {words}.", forgets, "serious"
        )
    yield _fault("bonds: trusts an address", "It takes a link for protected when the address is one that it knows.",
                 _errs(trusts_address=True))  # fmt: skip
    if any(one.spec.subscribe_needs for one in parts.characteristics(device)):
        says = "It sends to a bonded peer before the link is protected."
        yield _fault("bonds: sends unprotected", says, _errs(notifies_unencrypted=True))
    if any(isinstance(each, DeleteBonds) for doing in doings(device) for each in doing.spec.behaviours):
        says = "When its bonds are to be deleted they stay."
        yield _fault("bonds: kept after deletion", says, _errs(keeps_bonds=True))
        says = "Once its bonds have been deleted it refuses to pair."
        yield _fault("bonds: no pairing after deletion", says, _errs(refuses_after_deletion=True), "serious")


def _refusals() -> Iterator[Fault]:
    yield _fault("pairing: refused", "It refuses to pair.", _secures(bondable=False, security_request=False), "serious")
    yield _fault("pairing: fails", "Each pairing fails.", _errs(refuses=_UNSPECIFIED), "serious")
    yield _fault("pairing: no answer", "It does not answer when somebody wants to pair.", _errs(silent_at="pairing request"),
                 "serious")  # fmt: skip
    yield _fault("pairing: ends the link", "The link ends when somebody wants to pair.",
                 _errs(disconnects_at="pairing request"), "serious")  # fmt: skip
    yield _fault("pairing: stops half way", "A pairing stops half way.", _errs(silent_at="pairing random"), "serious")
