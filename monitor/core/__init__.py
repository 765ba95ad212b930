"""The pure middle of so2bench: bytes and requests in, events out. No clock, no files, no sockets, no logging."""
