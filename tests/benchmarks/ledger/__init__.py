"""The ledger: appending with full sync beside SQLite's own, verifying beside plain `sha256sum`."""
