"""What will the part weigh, within what limits, and what does it save and cost?
The whole answer: `prediction.predict` gives a `prediction.Prediction`. One layer is weighed in `plies.cure` alone.
Sums and limits: `weigh.weigh_layup`; old part, processes, money: `replaced`, `compare`, `cost`. On screen: `screen`.
"""
