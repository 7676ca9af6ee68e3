"""The two photographs of the demo batch, made by `tools/make_demo_photo.py`."""
