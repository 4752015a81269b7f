"""The Gibbs sampler of a blind flight: each block of unknowns of the mixed model drawn given all others.

``design`` holds the data, ``state`` the unknowns, ``priors`` what is known before any cup; ``effects``, ``spreads``,
``gain`` and ``noise`` draw one block each. :mod:`tastings.maths.flights.model` writes the model down and runs them.
"""
