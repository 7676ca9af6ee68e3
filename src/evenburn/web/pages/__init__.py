"""One file for each page: its frozen context, how it is filled, and what its forms do."""
