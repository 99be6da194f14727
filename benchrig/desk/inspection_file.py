"""An inspection in a file, JSON or YAML, so that another one can be held against it later."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import TypeVar

import msgspec

from benchrig.desk.comparing import Comparison
from benchrig.desk.findings import Finding
from benchrig.desk.inspection import Inspection
from benchrig.desk.paths import attributes_in
from benchrig.errors import UsageError
from benchrig.files import read_bounded, writable, write_whole

T = TypeVar("T")

# The table of a device with all 65535 handles has less.
MOST_BYTES = 64 * 1024 * 1024
_REFUSED = re.compile(r"ATT error 0x([0-9A-F]{2})")
SUFFIXES = {".json": "json", ".yaml": "yaml", ".yml": "yaml"}


class Document(msgspec.Struct, omit_defaults=True):
    """What `benchrig inspect` writes. `comparison` is with the inspection of an earlier one."""

    inspection: Inspection
    findings: list[Finding]
    comparison: Comparison | None = None


def document_text(document: Document, form: str, *, ascii_only: bool = False) -> str:
    """`form` is 'json' or 'yaml'; JSON can be had in ASCII."""
    if form == "yaml":
        return msgspec.yaml.encode(document).decode()
    return json.dumps(msgspec.to_builtins(document), ensure_ascii=ascii_only, indent=2) + "\n"


def check_target(path: Path, *, force: bool = False) -> None:
    """See that the file can be written, before the radio is asked for anything. UsageError."""
    if path.suffix.lower() not in SUFFIXES:
        raise UsageError(f"'{path}' says neither JSON nor YAML", advice="name it .json, .yaml or .yml")
    writable(path, force=force)


def save_document(document: Document, path: Path) -> None:
    """Raises StationError when the file cannot be written; one that was there is then as it was."""
    write_whole(path, document_text(document, SUFFIXES[path.suffix.lower()]).encode(), advice="save it elsewhere")


def load_document(path: Path) -> Document:
    """An inspection that was saved. UsageError when the file cannot be read, or is something else."""
    document = _load(path, Document)
    _complete(document.inspection)
    return document


def load_inspection(path: Path) -> Inspection:
    """The same without its findings, which may be missing from the file."""
    try:
        return load_document(path).inspection
    except UsageError as error:
        try:
            seen = _load(path, Inspection)
        except UsageError:
            raise error from None
    _complete(seen)
    return seen


def _complete(seen: Inspection) -> None:
    """Files of version 0.2 have the code of a refusal in the words alone."""
    for _, attribute in attributes_in(seen.services):
        if attribute.refused is None and (match := _REFUSED.match(attribute.unread)):
            attribute.refused = int(match[1], 16)


def _load(path: Path, kind: type[T]) -> T:
    """JSON or YAML that has to be of this kind. UsageError."""
    data = read_bounded(path, MOST_BYTES)
    decode = msgspec.yaml.decode if SUFFIXES.get(path.suffix.lower()) == "yaml" else msgspec.json.decode
    try:
        return decode(data, type=kind)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError, ValueError) as error:
        advice = "give a file that 'benchrig inspect --save' wrote"
        raise UsageError(f"'{path}' is not an inspection: {error}", advice=advice) from error
