"""Gradients: horizontal, local and vertical, directions, seepage."""
