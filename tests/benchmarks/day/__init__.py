"""Measures a day's files taken in: against the truth of the afternoon, in noise, killed, among hostile files."""
