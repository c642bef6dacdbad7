"""Who acts. People are named by id, so that the journal stays true when somebody's data is erased."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Who:
    """The person behind an action: an `owner` (or helper; `id` is the user's), a `client` (`id` is the
    client's), or the `shop` itself (a worker; no id). `address` is the network address they came from,
    where one is known."""

    kind: Literal["owner", "client", "shop"]
    id: int | None = None
    address: str | None = None

    @property
    def is_owner(self) -> bool:
        return self.kind == "owner"


THE_SHOP = Who("shop")
