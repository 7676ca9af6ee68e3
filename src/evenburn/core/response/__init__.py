"""How the wood answers: effective exposure, characteristic curve, its inverse and its uncertainty."""
