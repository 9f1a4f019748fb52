"""Files made to cost: sounds and pictures that are cheap to send, and what recognising each takes."""
