"""Levels of one aquifer on one day: the same-day set, surfaces, gradients, changes between days, data worth."""
