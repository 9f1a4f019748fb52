"""The terms in which both sides speak: quantities and their units, test points, sections."""
