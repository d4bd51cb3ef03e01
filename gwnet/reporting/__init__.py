"""Reports: what they say (content), how they are set (PDF, plain text) and what travels with them."""
