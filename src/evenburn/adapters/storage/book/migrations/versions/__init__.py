"""One file for each version of the book's tables, oldest first."""
