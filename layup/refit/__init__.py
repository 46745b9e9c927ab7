"""What has the whole refit saved, where does the aircraft balance, and which part is next?
The record: `ledger.read_ledger`, `ledger.enter`; its file: `refitfile.read_refit`. Arithmetic: `balance`.
Limits: `loading.load_cases`, `envelope`. Next: `next_parts.rank`, `consolidate`. Papers: `papers.papers`.
"""
