"""What artwork asks of the wood: stroke and gap widths, and pictures of powers."""
