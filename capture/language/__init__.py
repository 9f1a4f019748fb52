"""What spoken readings are made of: the vocabulary, its pronunciations, phrases, and the parser of their meaning."""
