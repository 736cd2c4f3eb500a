"""What a browser reads before it installs the alarm page on a device."""

from collections.abc import Callable
from typing import Any

from server.language import _

#: Pictures drawn from `web/static/icon.svg`: file, edge in pixels, what it may be cut to.
ICONS = (
    ("icons/icon-192.png", 192, "any"),
    ("icons/icon-512.png", 512, "any"),
    ("icons/icon-cut-512.png", 512, "maskable"),
)


def app_manifest(href: Callable[[str], str]) -> dict[str, Any]:
    """The web app manifest; `href` gives the address of a static file."""
    pictures = [
        {"src": href(file), "sizes": f"{edge}x{edge}", "type": "image/png", "purpose": purpose}
        for file, edge, purpose in ICONS
    ]
    drawing = {"src": href("icon.svg"), "sizes": "any", "type": "image/svg+xml", "purpose": "any"}
    return {
        "id": "/alarms",
        "name": _("Ringtell alarms"),
        "short_name": "Ringtell",
        "description": _("What needs somebody at a press, what to do now, and one tap to answer."),
        "start_url": "/alarms",
        "scope": "/",
        "display": "standalone",
        "orientation": "any",
        "background_color": "#f6f5f1",
        "theme_color": "#0a5f6b",
        "lang": "en",
        "icons": [*pictures, drawing],
    }
