"""The figures of `docs/how-it-works/`, drawn from the model."""
