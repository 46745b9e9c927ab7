"""Which side of a solid is laid up, what is odd about it, and how large is it at a height over the drawn one?
The side: `side.parse_side`, `solid.Solid`, `bodies.pick`, `two_skins`. What is odd: `findings`, `noise.roughness`.
Which way the layers lie: `mould.parse_mould`, `mould.seen`; the area at their height: `offset.Curved`.
"""
