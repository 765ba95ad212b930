"""Everything that touches the world. The edges speak `monitor.core.events` and do not know each other."""
