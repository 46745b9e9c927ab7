"""What does the day of the layup need: which cloth, how much resin, what bag, which paper for the wall?
Cloth: `cut.cut`, `nest`, `rolls`. Resin: `batches.mixes`, `mixing.read_scale`. The bag: `bag.bag`.
Paper: `build_sheet.build_sheet`. When to weigh: `points.weigh_points`.
"""
