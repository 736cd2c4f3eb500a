"""`python -m server` is the same as `ringtell`."""

from server.cli import main

if __name__ == "__main__":
    raise SystemExit(main())
