"""What every figure shares: pages in millimetres, panels, axes, labels, text and the look."""
