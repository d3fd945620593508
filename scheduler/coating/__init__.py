"""The coat: the product, the face it lies on, the water that leaves it."""
