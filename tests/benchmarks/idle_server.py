"""`ringtell` with evaluation left waiting: what ingest alone costs."""

import sys

from server.cli import main
from server.pipeline import Pipeline

if __name__ == "__main__":
    # The intake is kept, as after a stop; nobody works on it.
    Pipeline.start = lambda self, **_: None  # type: ignore[method-assign]  # no loop here
    sys.exit(main())
