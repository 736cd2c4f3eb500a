"""What stored rows come to: signal values, how a press stands, since when it leaks. No HTTP, no drawing."""
