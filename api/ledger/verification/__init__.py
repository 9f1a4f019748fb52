"""The steps of the verification, one module for each kind of thing checked; `api.ledger.verify` calls them in order."""
