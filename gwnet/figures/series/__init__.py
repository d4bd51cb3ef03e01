"""Figures of levels over the years: seasons, decomposition, trends, gradients."""
