"""From a model file and values to solids and features."""
