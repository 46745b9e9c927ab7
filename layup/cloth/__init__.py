"""How does cloth lie on the part, and what is its flat shape?
Laid on it: `draped.drape_ply`. Laid flat: `pattern.flat_plies` gives each `pattern.FlatPly`, `splice.splice`.
Written for the cutter: `templates.write_dxf`, `templates.write_svg`, `tiled_pdf.write_pdf`. What shops do: `practice`.
"""
