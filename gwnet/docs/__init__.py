"""The documentation: pages in Markdown, read with ``gwnet help``, and what keeps their tables as the code has them."""
