"""Arrays and numbers in, arrays or small results out: the computations that the project exists for."""
