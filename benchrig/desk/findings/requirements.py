"""What adopted services demand of their characteristics, as the data file has it."""

from __future__ import annotations

from functools import cache
from importlib import resources

import msgspec

# What extended properties and their descriptor add may stand anywhere; some systems list it among the properties.
_JUDGED = ("broadcast", "read", "write without response", "write", "notify", "indicate", "signed write")


class CharacteristicRule(msgspec.Struct, frozen=True):
    """Properties that are neither in `must` nor in `may` are excluded. `one`: a second instance is excluded too.
    `descriptors` maps a descriptor that has to be there to its condition ('' for always, a property, or one of the
    words in `services`); `needs` maps another characteristic of the service to the one that must be there for this to
    count ('' for always); `needs_by_bit` maps a mask of the value to characteristics. UUIDs are four hex digits."""

    mandatory: bool = False
    must: list[str] = []
    may: list[str] = []
    one: bool = False
    descriptors: dict[str, str] = {}
    needs: dict[str, str] = {}
    needs_by_bit: dict[str, list[str]] = {}

    def missing(self, properties: list[str]) -> str:
        """What must be among the properties and is not, in words; '' for nothing."""
        return " and ".join(each for each in self.must if each not in properties)

    def excluded(self, properties: list[str]) -> str:
        """What must not be among them and is."""
        return " and ".join(each for each in properties if each in _JUDGED and each not in self.must + self.may)


class ServiceRule(msgspec.Struct, frozen=True):
    """`one`: only one instance on a device; `least_one`: at least one characteristic that is not in the list; `others`
    is the rule for these."""

    source: str
    characteristics: dict[str, CharacteristicRule]
    one: bool = False
    least_one: bool = False
    others: CharacteristicRule | None = None


class Requirements(msgspec.Struct, frozen=True):
    """The file as it is."""

    sources: list[str]
    services: dict[str, ServiceRule]


@cache
def requirements() -> Requirements:
    data = resources.files("benchrig.desk").joinpath("adopted_services.json").read_bytes()
    return msgspec.json.decode(data, type=Requirements)
