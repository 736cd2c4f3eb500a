"""Recipients of messages as they may be shown."""

from urllib.parse import urlsplit


def shown_recipient(outlet: str, recipient: str) -> str:
    """A recipient as pages, audit and logs may show it: of a webhook only scheme, host and port.

    >>> shown_recipient("webhook", "https://hooks.example:8443/in/s3cret?key=1")
    'https://hooks.example:8443/…'
    >>> shown_recipient("mail", "line@plant.example")
    'line@plant.example'
    """
    if outlet != "webhook":
        return recipient
    parts = urlsplit(recipient)
    return f"{parts.scheme}://{parts.netloc.rpartition('@')[2]}/…"
