"""Tests for trends and steps: Kendall family, Theil-Sen slopes, serial correlation, false discovery."""
