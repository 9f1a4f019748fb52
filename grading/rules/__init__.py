"""The rules, one module per subject; each is a function from a case to findings (names: `grading.rulebook`)."""
