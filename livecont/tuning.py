"""The temperaments that there are, read from `configs/temperaments.toml`.

Conventions: as in `sound.temperament`.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from livecont.config import configs_folder
from livecont.errors import unknown
from livecont.sound.temperament import Temperament
from livecont.tables import Table, read_table


def load_temperaments() -> Mapping[str, Temperament]:
    """Return all temperaments by name, in the file's order.

    Raises:
        ConfigError: for a line that can't be used.
    """
    table = read_table(configs_folder() / "temperaments.toml")
    return MappingProxyType({name: _temperament(table.table(name)) for name in table.values})


def temperament_named(name: str) -> Temperament:
    """Return a temperament.

    Raises:
        ConfigError: there is none of this name; the nearest is told.
    """
    known = load_temperaments()
    if name not in known:
        raise unknown("temperament", name, known)
    return known[name]


def _temperament(table: Table) -> Temperament:
    table.only(("title", "cents", "source"))
    value = table.values.get("cents")
    if not isinstance(value, list) or len(value) != 12:
        raise table.fault("cents", "needs twelve numbers, from C to B")
    if not all(isinstance(one, int | float) and not isinstance(one, bool) for one in value):
        raise table.fault("cents", "needs twelve numbers, from C to B")
    cents = tuple(float(one) for one in value)
    if cents[0] != 0.0 or list(cents) != sorted(cents) or cents[-1] >= 1200:
        raise table.fault("cents", "needs to begin with 0 and to rise, below 1200")
    return Temperament(
        name=table.place[-1],
        title=table.string("title"),
        cents=cents,
        source=table.string("source"),
    )
