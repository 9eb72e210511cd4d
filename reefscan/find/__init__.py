"""The stations of one tile, and the noise of its ground."""
