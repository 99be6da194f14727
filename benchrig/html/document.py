"""The whole of a page: one file, and a browser is told that nothing else belongs to it."""

from __future__ import annotations

from base64 import b64encode
from hashlib import sha256
from xml.etree import ElementTree as ET

from benchrig.html.elements import Child, el, verbatim
from benchrig.html.style import STYLE


def document(title: str, generator: str, *body: Child, style: str = "", script: str = "") -> bytes:
    """`generator` is the command that writes the page, `style` what only this page looks like."""
    head = el("head", el("meta", charset="utf-8"), el("meta", name="generator", content=generator),
              el("meta", http_equiv="Content-Security-Policy", content=_policy(script)),
              el("meta", name="viewport", content="width=device-width, initial-scale=1"),
              el("title", title), verbatim("style", STYLE + style))  # fmt: skip
    end = [verbatim("script", script)] if script else []
    root = el("html", head, el("body", *body, *end), lang="en")
    text: str = ET.tostring(root, encoding="unicode", method="html")
    return f"<!DOCTYPE html>\n{text}\n".encode()


def begins(generator: str) -> bytes:
    """How an earlier page of a command is told from another file."""
    return f'<meta name="generator" content="{generator}">'.encode()


def _policy(script: str) -> str:
    """Nothing is fetched, and no script is run but the page's own: not even if an escape had a hole."""
    own = f" script-src 'sha256-{b64encode(sha256(script.encode()).digest()).decode()}';" if script else ""
    return f"default-src 'none'; style-src 'unsafe-inline'; img-src data:;{own} base-uri 'none'; form-action 'none'"
