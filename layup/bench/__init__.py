"""The bench page: the whole job in a browser on the shop's own machine. A face on the rest; no arithmetic of its own.

- What a request may touch:              `folder`, `guard`
- Changing a part file as a person would: `layup.partfile.edit`; taking it back: `journal`; one at a time: `locks`
- What a part comes to, kept at hand:    `desk`
- Work that takes long:                  `running`
- Pages, one module a flow:              `home`, `part_page`, `choose_page`, `prepare_page`, `weigh_page`, `refit_page`
- The surface in space:                   `shape` and its neighbours
- What a page needs beside its handlers:  `choose_*`, `prepare_work`, `refit_*`
- The application:                       `app`
"""
