"""What a command says on standard output."""

import sys


def say(text: str = "") -> None:
    """One line, at once."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()
