"""From confirmed records to findings: pure computation, no I/O, no clock, no globals."""
