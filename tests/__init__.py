"""Tests, kept by their kind of evidence.

published/  a printed value, tolerance from its printed digits
oracle/     another program, run live or stored with its origin
analytic/   limits, conservation, scaling, symmetry, closed form
unit/       behaviour: what the program does with good and bad input
"""
