"""A mesh file turned into a model file: what its triangles say of flat sides and round holes."""
