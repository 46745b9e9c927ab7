"""Which is the lightest layup that does what the part has to do?
The answer: `choice.choose` gives a `choice.Choice`; into the part file: `writeback`; the part as it stands: `present`.
What there is: `shelf.shelf_of`. Does a stack pass: `checks.Checker`. The lightest: `seek`. One ply more: `steps`.
"""
