"""Printed pages: what goes to the machine on paper."""
