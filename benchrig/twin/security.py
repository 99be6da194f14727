"""How a device pairs and what its attributes need, as far as it was seen."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchrig.access.measuring import Measured
from benchrig.desk.inspection import CharacteristicSeen
from benchrig.desk.paths import AttributeSeen, Place
from benchrig.radio.security import LARGEST_KEY, Capability, Features, usual_mitm
from benchrig.twin.seen import Seen
from benchrig.twin.story import Act
from benchrig.twin.table import Part
from benchrig.values.access import LEVELS
from benchrig.values.att_errors import INSUFFICIENT, INSUFFICIENT_AUTHORIZATION

# By the codes of Core Vol 3 Part H 3.5.1, table 3.4.
_CAPABILITIES: tuple[Capability, ...] = ("display", "yes/no", "keyboard", "none", "keyboard and display")
# Bits of AuthReq (Core Vol 3 Part H 3.5.1, figure 3.3).
_MITM, _SC = 0x04, 0x08
_KEYS = {
    "read": "read_needs",
    "write": "write_needs",
    "write without response": "write_needs",
    "subscribe": "subscribe_needs",
}


def pairing_of(seen: Seen) -> Part:
    """The key `security`, empty where nothing was tried."""
    part = Part()
    for where, features in _features(seen):
        _features_told(part, where, features)
        break
    for act in (act for story in seen.stories for act in story.of("pair")):
        _attempt(part, act)
    if not part.keys and not any(True for _ in _features(seen)):
        part.unseen.append("pairing: nobody paired with it")
    return part


def _features(seen: Seen) -> Iterator[tuple[str, Features]]:
    for paired in seen.evidence.paired:
        if paired.features is not None:
            yield "paired with it", paired.features
    for where, security in seen.security:
        if security.features is not None:
            yield where, security.features


def _features_told(part: Part, where: str, features: Features) -> None:
    says = f"{where}: what it says of itself"
    if features.io_capability >= len(_CAPABILITIES):
        return
    capability = _CAPABILITIES[features.io_capability]
    part.put("capability", capability, says)
    mitm = bool(features.auth_req & _MITM)
    if mitm != usual_mitm(capability, has_oob=False):
        part.put("mitm", mitm, says)
    if not features.auth_req & _SC:
        part.put("pairing", "legacy", says)
    if features.key_size != LARGEST_KEY:
        part.put("key_size", features.key_size, says)


def _attempt(part: Part, act: Act) -> None:
    """What one pairing of a run shows."""
    failure, asked = act.found.get("failure"), act.asked
    if failure == "authentication requirements" and asked.get("pairing") == "legacy":
        part.put("pairing", "secure connections", f"{act.where}: legacy pairing was refused")
    elif failure == "pairing not supported":
        part.put("bondable", False, act.where)
    elif failure == "encryption key size" and isinstance(asked.get("key_size"), int):
        part.put(
            "least_key_size",
            int(str(asked["key_size"])) + 1,
            f"{act.where}: a key of {asked['key_size']} bytes was refused",
        )
    elif act.found.get("method") == "passkey" and "capability" not in part.keys:
        part.put("capability", "display", f"{act.where}: paired with a passkey")
    elif act.found.get("method") == "numeric comparison" and "capability" not in part.keys:
        part.put("capability", "yes/no", f"{act.where}: paired by comparison")


def needs_of(seen: Seen) -> dict[Place, Part]:
    """The keys of attributes."""
    found: dict[Place, Part] = {}
    for place, each in seen.attributes():
        part = found.setdefault(place, Part())
        code = each.guarded.refused if each.guarded else each.refused
        if code == INSUFFICIENT_AUTHORIZATION and each.content is None:
            part.put("authorized", False, "a read was refused for want of authorization")
        elif code in INSUFFICIENT or each.guarded:
            part.put("read_needs", "encrypted", "refused without pairing; at least this, more was not tried")
            part.unseen.append(f"{each.name}: whether reading needs more than an encrypted link")
        if isinstance(each, CharacteristicSeen) and each.written_open is False:
            part.put("write_needs", "encrypted", "its own value was refused without security")
    _measured(seen, found)
    _refused_in_runs(seen, found)
    if any(part.keys for part in found.values()):
        for place, each in seen.attributes():
            _tell_untried(seen, found[place], place, each)
            for key in [key for key in found[place].keys if not _is_able(key, each, seen.taken(place) is not None)]:
                del found[place].keys[key]
    return found


def _is_able(key: str, each: AttributeSeen, is_taken: bool) -> bool:
    """Whether there is an access that could need it; `is_taken`: it was written."""
    if not isinstance(each, CharacteristicSeen):
        return key in ("read_needs", "key_size_needed", "authorized") or (key == "write_needs" and is_taken)
    ways = {
        "read_needs": {"read"},
        "write_needs": {"write", "write without response"},
        "subscribe_needs": {"notify", "indicate"},
    }
    return key not in ways or bool(ways[key] & {*each.properties})


def _tell_untried(seen: Seen, part: Part, place: Place, each: AttributeSeen) -> None:
    """Of a device that guards something: what else it may guard."""
    measured = {(one.found.attribute.handle, one.operation) for one in _all_measured(seen)}
    properties = each.properties if isinstance(each, CharacteristicSeen) else []
    tried = any((each.handle, operation) in measured for operation in ("write", "write without response"))
    if {"write", "write without response"} & {*properties} and not tried and "write_needs" not in part.keys:
        part.unseen.append(
            f"{each.name}: what a write needs (no link without security was tried); the twin takes it over any"
        )


def _all_measured(seen: Seen) -> Sequence[Measured]:
    return seen.evidence.protection.measured if seen.evidence.protection else ()


def _measured(seen: Seen, found: dict[Place, Part]) -> None:
    """Over links of rising protection: this is better known than what one look shows."""
    for each in _all_measured(seen):
        place = seen.find(f"handle 0x{each.found.attribute.handle:04X}")
        key = _KEYS[each.operation]
        if place is None:
            continue
        part = found.setdefault(place, Part())
        if INSUFFICIENT_AUTHORIZATION in each.answers.values():
            part.keys.pop(key, None)
            part.put("authorized", False, "refused over every link that was tried")
        if each.need in LEVELS[1:]:
            tried = ", ".join(
                f"{level.words}: {'allowed' if code == 0 else f'0x{code:02X}'}" for level, code in each.answers.items()
            )
            part.put(
                key,
                each.need,
                f"{each.operation} over links ({tried})" + (", the next level is a guess" if each.is_guess else ""),
            )
        elif each.need == "open":
            part.keys.pop(key, None)
            part.comments.pop((key,), None)
        if each.wants_long_key:
            part.put("key_size_needed", LARGEST_KEY, "refused with a short key")
        if not each.is_guess:
            part.unseen.clear()


def _refused_in_runs(seen: Seen, found: dict[Place, Part]) -> None:
    for story in seen.stories:
        for act in story.acts:
            key = {"read": "read_needs", "write": "write_needs"}.get(act.what)
            if key is None or act.place is None or not act.error.startswith("insufficient "):
                continue
            part = found.setdefault(act.place, Part())
            if act.error == "insufficient authorization":
                part.put("authorized", False, act.where)
            elif key not in part.keys:
                part.put(key, "encrypted", f"{act.where}: refused with {act.error}; at least this, more was not tried")
