"""What did the builder write, and does it hold?
Read with every fault told: `read.read_part` gives a `job.Job`; what may be written: `model`, `needs.Needs`.
Changed as a person would: `edit`. Where layers lie: `regions.Regions`. What can hurt: `cautions`, `clashes.clash`.
"""
