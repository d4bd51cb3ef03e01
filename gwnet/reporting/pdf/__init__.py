"""The report set as PDF; the only place that knows the PDF libraries."""
