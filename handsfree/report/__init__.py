"""A visit's folder in, files to hand over out."""
