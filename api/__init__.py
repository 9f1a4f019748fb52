"""The server: evidence, records, audit trail, dialogue, report, web page and command line."""
