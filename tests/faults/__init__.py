"""Fault injection: each call of a visit that changes files is made to fail; what is left must hold the promises."""
