"""What is kept: rows, files and the audit trail that ties them, and how all of it is verified."""
