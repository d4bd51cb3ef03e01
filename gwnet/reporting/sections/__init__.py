"""One function for each kind of section; each returns content and knows no PDF library."""
