"""Choose the layup: the lightest that does what the part has to do.

- What may be used, cured in each process?        `shelf`
- Does a stack pass, and by how much?             `checks`, `strength_checks`, on a `batch` of stacks at a time
- Which stack is the lightest that passes?        `seek`; with local plies: `reinforce`
- What does one ply more or less buy?             `steps`; the front of weight, cost and stiffness: `front`
- The whole answer, and into the part file?       `choice`, `writeback`; a layup in words: `layups`
- And the part as it stands, judged the same way?  `present`

The mechanics lie in `layup.laminate`; what the part has to do is read by `layup.partfile.needs`.
"""
