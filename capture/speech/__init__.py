"""Hearing: clips and streams to words, by a vosk model and a grammar made from `capture.language.vocabulary`."""
