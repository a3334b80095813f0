"""The page itself, put together from its three files, and the headers that keep it to itself."""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass
from importlib.resources import files

__all__ = ["SAFE_HEADERS", "Resource", "built_page"]

SAFE_HEADERS = (
    ("Cache-Control", "no-store"),
    ("Referrer-Policy", "no-referrer"),
    ("X-Content-Type-Options", "nosniff"),
    ("X-Frame-Options", "DENY"),
    ("Cross-Origin-Resource-Policy", "same-origin"),
)
"""What goes with every answer, with a refusal, too. No name and no version of a server."""


@dataclass(frozen=True, slots=True)
class Resource:
    """Something built in that is served.

    Attributes
    ----------
    content : bytes
        As sent.
    kind : str
        Its media type.
    policy : str
        Its content security policy.
    """

    content: bytes
    kind: str
    policy: str


def built_page() -> Resource:
    """Return the page with style and script inside, and a policy that lets these two run and nothing else.

    Returns
    -------
    Resource
    """
    style, script = _part("page.css"), _part("page.js")
    page = _part("page.html").replace("/*STYLE*/", style).replace("/*SCRIPT*/", script)
    policy = (
        "default-src 'none'",
        f"style-src '{_hash(style)}'",
        f"script-src '{_hash(script)}'",
        "connect-src 'self'",
        "img-src data:",  # the empty icon, so that no browser asks for one
        "base-uri 'none'",
        "form-action 'none'",
        "frame-ancestors 'none'",
        "require-trusted-types-for 'script'",
    )
    return Resource(page.encode(), "text/html; charset=utf-8", "; ".join(policy))


def _part(name: str) -> str:
    return files(__package__).joinpath(name).read_text(encoding="utf-8").strip()


def _hash(text: str) -> str:
    """Return the source expression for an inline element (Content Security Policy Level 3, section 2.3.1)."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
