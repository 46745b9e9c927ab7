"""How does a person do the whole job in a browser, on the shop's own machine?
Start: `app.serve`. What may be touched: `guard.Guard`, `folder.Folder`. Kept at hand: `desk.Desk`, `journal.Journal`.
One module a page: `home`, `part_page`, `choose_page`, `prepare_page`, `weigh_page`, `refit_page`; long work: `running`.
"""
