"""Pure functions and solvers on floats and arrays: no files, no design, no clock.

Closed forms hold for the one topology named in their docstring; `tristrand.physics.circuit` takes the real
one.
"""
