"""Templates as files: DXF for cutters, SVG for screens, PDF in sheets for printers, tables as CSV."""
