"""Tests of grading: formulas against other ways of computing them, laws, and whole axes."""
