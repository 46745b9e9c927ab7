"""Which is the lightest layup that does what the part has to do?
The answer: `choice.choose` gives a `choice.Choice`; into the part file: `writeback`; as it stands: `present`.
There is: `shelf.shelf_of`. Does a stack pass: `checks.Checker`. Lightest: `seek`. Ply more: `steps`. `what_if.what_if`.
"""
