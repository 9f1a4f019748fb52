"""How long reports of the demo and of long visits take, how large they are, and what memory they need."""
