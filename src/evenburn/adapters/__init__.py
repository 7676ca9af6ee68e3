"""Adapters: files, photographs and paper. Each knows the core and none of the others."""
