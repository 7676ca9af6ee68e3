"""The vocabulary: what people at the bench talk about, as frozen values without behaviour of their own."""
