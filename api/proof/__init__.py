"""What lets others check a value without us: its provenance, the head in words and as QR code, witnesses."""
