"""What does a surface measure, and which parts of it are meant?
A surface: `surface.Surface`, `surface.Finding`. Measures: `measure.Measured`, `topology`, `nearest`.
Parts of it: `zones.cut_zone`, `partition.partition`, `holes.HoleSet`, `perforate.perforate`; flat ones: `flat.outline`.
"""
