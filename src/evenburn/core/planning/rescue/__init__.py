"""For a piece that went wrong: how deep the burn is, what sanding takes, what covers it, and where it now lies."""
