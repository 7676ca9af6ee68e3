"""The drawings of the demo batch, one module for each, made by `tools/make_demo_art.py`."""
