"""Not there yet."""

from __future__ import annotations

from layup.bench.app import Handler

ROUTES: tuple[tuple[str, str, Handler], ...] = ()
