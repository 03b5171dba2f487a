"""The workshop pack: all that is taken to the workbench, in one folder."""
