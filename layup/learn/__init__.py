"""What did the scale say, why, and what does it teach about the shop?
The record: `store.open_store`, `store.find_store`, `exchange`. A weight: `weigh_part.read_scale`, `weighins.WeighIn`.
Why: `explain.explain`, `versions.divide`. The shop's hand: `calibrate.habits_near`, `calibrate.Calibration`, `coupons`.
"""
